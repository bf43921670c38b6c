"""The regions drawn over a take's picture, for a person to check."""

from collections.abc import Iterator
from dataclasses import dataclass
from html import escape

from blinkspan.publish.parts import RegionsPart, TakePart
from blinkspan.publish.pictures import data_uri

Box = tuple[float, float, float, float]

_LETTER = 0.58  # a letter's usual width over its height, sans serif
_NAMES = {"lamp": "lamp", "panel": "panel", "watch": "watched"}


@dataclass(frozen=True, slots=True)
class _Outline:
    """One region: its name, the kind of line it gets, and its corners."""

    name: str
    kind: str
    corners: tuple[tuple[float, float], ...]

    @property
    def box(self) -> Box:
        """Left, top, right, bottom."""
        xs = [x for x, _ in self.corners]
        ys = [y for _, y in self.corners]
        return min(xs), min(ys), max(xs), max(ys)


def draw_regions(take: TakePart, regions: RegionsPart, still: bytes) -> str:
    """Return an SVG of the take's picture with each region outlined and named.

    Parameters
    ----------
    take, regions : TakePart, RegionsPart
    still : bytes
        One frame of the take as JPEG, at any size.
    """
    width, height = take.width_px, take.height_px
    letter = max(width, height) / 44
    outlines = _outlines(regions)
    drawn = [
        f'<svg class="regions" viewBox="0 0 {width} {height}" role="img" '
        f'aria-label="{escape(_alt(regions))}">',
        f'<image href="{data_uri(still)}" width="{width}" height="{height}" '
        'preserveAspectRatio="none"/>',
    ]
    for outline in outlines:
        points = " ".join(f"{x:g},{y:g}" for x, y in outline.corners)
        # A dark line under the coloured one shows on any picture.
        drawn.append(f'<polygon class="under" points="{points}"/>')
        drawn.append(f'<polygon class="{outline.kind}" points="{points}"/>')
    taken: list[Box] = []
    for outline in outlines:
        name = f"{outline.name} (proposed)" if outline.kind in regions.proposed else outline.name
        place = _place(name, outline.box, letter, (width, height), taken)
        taken.append(place)
        drawn.append(_label(name, outline.kind, place, letter))
    drawn.append("</svg>")
    return "".join(drawn)


def _outlines(regions: RegionsPart) -> list[_Outline]:
    boxes = [("watch", regions.watch), ("lamp", regions.lamp)]
    outlines = [
        _Outline(_NAMES[kind], kind, ((x, y), (x + w, y), (x + w, y + h), (x, y + h)))
        for kind, (x, y, w, h) in boxes
    ]
    if regions.panel is not None:
        outlines.append(_Outline(_NAMES["panel"], "panel", regions.panel))
    return outlines


def _alt(regions: RegionsPart) -> str:
    named = ["lamp", "watched part"] + (["panel"] if regions.panel else [])
    chosen = ", ".join(_NAMES[kind] for kind in regions.proposed if kind in _NAMES)
    told = f"; the program proposed: {chosen}" if chosen else "; all were given"
    return f"A frame of the take with {', '.join(named)} outlined{told}"


def _place(text: str, box: Box, letter: float, picture: tuple[int, int], taken: list[Box]) -> Box:
    """Return the first place for a label that is in the picture and covers no other label."""
    width, height = _LETTER * letter * len(text) + letter, 1.5 * letter
    for left, top in _candidates(box, width, height, picture[1]):
        left = min(max(left, 0.0), max(picture[0] - width, 0.0))
        place = (left, top, left + width, top + height)
        if top >= 0 and place[3] <= picture[1] and not any(_meet(place, other) for other in taken):
            return place
    return 0.0, 0.0, width, height


def _candidates(
    box: Box, width: float, height: float, picture_height: int
) -> Iterator[tuple[float, float]]:
    left, top, right, bottom = box
    gap = 0.25 * height
    yield left, top - height - gap
    yield left, bottom + gap
    yield right - width, top - height - gap
    yield right - width, bottom + gap
    yield right + gap, top
    yield left - width - gap, top
    yield left + gap, top + gap
    yield left + gap, bottom - height - gap
    for row in range(int(picture_height / height)):  # a corner crowded with regions
        yield left, row * height


def _meet(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _label(text: str, kind: str, place: Box, letter: float) -> str:
    left, top, right, bottom = place
    middle = (left + right) / 2
    return (
        f'<rect class="plate" x="{left:.1f}" y="{top:.1f}" width="{right - left:.1f}" '
        f'height="{bottom - top:.1f}" rx="{letter / 4:.1f}"/>'
        f'<text class="{kind}" x="{middle:.1f}" y="{top + 1.08 * letter:.1f}" '
        f'font-size="{letter:.1f}" text-anchor="middle">{escape(text)}</text>'
    )
