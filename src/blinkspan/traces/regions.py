"""Places in the picture: the lamp's, the panel's and the watched part's."""

from dataclasses import dataclass

from blinkspan.errors import BadRegion

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Rectangle:
    """A box of whole pixels: left, top, width, height."""

    x: int
    y: int
    width: int
    height: int

    @property
    def middle_row_px(self) -> float:
        """The row through the vertical centre, in pixels from the picture's top edge."""
        return self.y + self.height / 2

    @property
    def middle_column_px(self) -> float:
        """The column through the horizontal centre, in pixels from the picture's left edge."""
        return self.x + self.width / 2

    def within(self, width_px: int, height_px: int, name: str) -> "Rectangle":
        """Return the box itself, refused where it leaves a picture of that size.

        Raises
        ------
        BadRegion
            The box is empty or any part of it lies outside.
        """
        if self.width < 1 or self.height < 1:
            raise BadRegion(
                f"the {name} region is {self.width}x{self.height} pixels; "
                "give a width and height above 0"
            )
        if (
            self.x < 0
            or self.y < 0
            or self.x + self.width > width_px
            or self.y + self.height > height_px
        ):
            raise BadRegion(
                f"the {name} region {self.x},{self.y},{self.width},{self.height} leaves the "
                f"{width_px}x{height_px} picture; give x,y,width,height inside it"
            )
        return self


@dataclass(frozen=True, slots=True)
class Quadrilateral:
    """Four corners of the panel from top left clockwise, in pixels."""

    corners: tuple[Point, Point, Point, Point]

    @property
    def height_px(self) -> float:
        """The mean length of the left and the right side, measured down the picture; 1 at least."""
        (_, y1), (_, y2), (_, y3), (_, y4) = self.corners
        return max(1.0, (y3 + y4 - y1 - y2) / 2)

    def bounding_box(self) -> Rectangle:
        """Return the smallest box of whole pixels that holds the corners."""
        xs = [x for x, _ in self.corners]
        ys = [y for _, y in self.corners]
        left, top = int(min(xs)), int(min(ys))
        return Rectangle(left, top, round(max(xs)) - left, round(max(ys)) - top)

    def holds(self, x: float, y: float) -> bool:
        """Return whether a place lies inside; corners must run clockwise and bend outwards."""
        ends = self.corners[1:] + self.corners[:1]
        return all(
            (x1 - x0) * (y - y0) >= (y1 - y0) * (x - x0)
            for (x0, y0), (x1, y1) in zip(self.corners, ends, strict=True)
        )


@dataclass(frozen=True, slots=True)
class Regions:
    """The three regions of a take and which of them the program proposed itself."""

    lamp: Rectangle
    panel: Quadrilateral | None
    watch: Rectangle
    proposed: tuple[str, ...] = ()
