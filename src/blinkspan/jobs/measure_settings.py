"""What a person knows of a take beforehand, checked before any frame is read."""

import math
from dataclasses import dataclass

from blinkspan.errors import BadRegion, BadSetting
from blinkspan.footage.frames import Clock, PictureFormat
from blinkspan.profiles import CameraProfile, DisplayProfile
from blinkspan.quantities import Measured
from blinkspan.traces.regions import Quadrilateral, Rectangle

# Setting: what it is called, its unit, least and most; wide enough for any real gear.
_RANGES = {
    "capture_rate_hz": ("capture rate", "frames a second", 5.0, 100_000.0),
    "refresh_hz": ("refresh rate", "Hz", 10.0, 1000.0),
    "game_rate_hz": ("game rate", "frames a second", 1.0, 1000.0),
    "lag_ms": ("display lag", "ms", 0.0, 1000.0),
    "lag_u_ms": ("display lag's uncertainty", "ms", 0.0, 1000.0),
    "readout_ms": ("readout", "ms", 0.0, 1000.0),
    "exposure_ms": ("exposure", "ms", 0.001, 1000.0),
    "readout_u_ms": ("readout's uncertainty", "ms", 0.0, 1000.0),
    "exposure_u_ms": ("exposure's uncertainty", "ms", 0.0, 1000.0),
}
_GIVEN_U = 0.02  # of a readout or exposure that a person gives: read off a data sheet or a fit
_LONGER = 1.01  # a readout or exposure of a whole frame may be rounded up


@dataclass(frozen=True, slots=True)
class MeasureSettings:
    """The regions and what is known of camera and display; None where nothing is.

    Attributes
    ----------
    lag_ms : float | None
        The display's own delay at the row of the response.
    lag_u_ms : float | None
        Its standard uncertainty; taken as 0, with a note, where only the lag is given.
    readout_ms, exposure_ms : float | None
        Given values are taken as known to 2 %, unless ``readout_u_ms`` and
        ``exposure_u_ms`` say how well, as kept camera profiles do.

    Raises
    ------
    BadSetting, BadRegion
        A value that cannot be right, alone or beside another.
    """

    lamp: Rectangle | None = None
    panel: Quadrilateral | None = None
    watch: Rectangle | None = None
    capture_rate_hz: float | None = None
    refresh_hz: float | None = None
    game_rate_hz: float | None = None
    lag_ms: float | None = None
    lag_u_ms: float | None = None
    readout_ms: float | None = None
    exposure_ms: float | None = None
    readout_u_ms: float | None = None
    exposure_u_ms: float | None = None

    def __post_init__(self) -> None:
        """Refuse what cannot be right whatever the take holds."""
        for setting, (name, unit, least, most) in _RANGES.items():
            value = getattr(self, setting)
            if value is not None and not (math.isfinite(value) and least <= value <= most):
                raise BadSetting(
                    f"the {name} is given as {value:g} {unit}, which cannot be; "
                    f"give {least:g} to {most:g}"
                )
        if self.lag_u_ms is not None and self.lag_ms is None:
            raise BadSetting(
                f"the display lag's uncertainty is given as {self.lag_u_ms:g} ms without the lag; "
                "give both"
            )
        if self.panel is not None:
            _refuse_crossed(self.panel)
        if self.lamp is not None and self.watch is not None and _overlap(self.lamp, self.watch):
            raise BadRegion(
                "the lamp region and the watched region overlap, so the lamp's own light would "
                "be taken for a response; choose a watched part clear of the lamp"
            )

    @property
    def camera(self) -> CameraProfile:
        """What is known of the camera."""
        return CameraProfile(
            _given(self.exposure_ms, self.exposure_u_ms), _given(self.readout_ms, self.readout_u_ms)
        )

    @property
    def display(self) -> DisplayProfile:
        """What is known of the display and the game's rate."""
        lag = None
        if self.lag_ms is not None:
            lag = Measured(self.lag_ms / 1e3, (self.lag_u_ms or 0.0) / 1e3)
        return DisplayProfile(lag, self.refresh_hz, self.game_rate_hz)

    @property
    def notes(self) -> tuple[str, ...]:
        """What a person should know of the settings, each a plain sentence."""
        if self.lag_ms is not None and self.lag_u_ms is None:
            return (
                "The display lag was given without its uncertainty, which is taken as 0: "
                "the net latency carries the span's uncertainty only.",
            )
        return ()

    def refuse_beside(self, picture: PictureFormat, clock: Clock) -> None:
        """Refuse what cannot be right for a take of that picture and rate.

        Raises
        ------
        BadRegion
            A region leaves the picture.
        BadSetting
            A readout or an exposure longer than a frame.
        """
        size = picture.width_px, picture.height_px
        for name, box in (("lamp", self.lamp), ("watched", self.watch)):
            if box is not None:
                box.within(*size, name)
        if self.panel is not None:
            for x, y in self.panel.corners:
                if not (0 <= x <= size[0] and 0 <= y <= size[1]):
                    raise BadRegion(
                        f"the panel's corner {x:g},{y:g} leaves the {size[0]}x{size[1]} picture; "
                        "give corners inside it"
                    )
        period_ms = 1e3 * clock.period_s
        for name, value_ms in (("readout", self.readout_ms), ("exposure", self.exposure_ms)):
            if value_ms is not None and value_ms > _LONGER * period_ms:
                raise BadSetting(
                    f"a {name} of {value_ms:g} ms is longer than a frame of {period_ms:.3f} ms; "
                    "give less, or the capture rate where the file does not tell it"
                )


def _given(value_ms: float | None, u_ms: float | None) -> Measured | None:
    if value_ms is None:
        return None
    return Measured(value_ms / 1e3, (_GIVEN_U * value_ms if u_ms is None else u_ms) / 1e3)


def _refuse_crossed(panel: Quadrilateral) -> None:
    """Refuse corners that do not go round the panel clockwise from top left."""
    corners = panel.corners
    told = ",".join(f"{value:g}" for corner in corners for value in corner)
    for i in range(4):
        (x0, y0), (x1, y1), (x2, y2) = (corners[(i + k) % 4] for k in range(3))
        turn = (x1 - x0) * (y2 - y1) - (y1 - y0) * (x2 - x1)
        if not (math.isfinite(turn) and turn > 0):
            raise BadRegion(
                f"the panel's corners {told} do not go round it; "
                "give four from top left clockwise, or x,y,width,height"
            )
    (x0, y0), (x1, y1), (x2, y2), (x3, y3) = corners
    if not (x0 + x3 < x1 + x2 and y0 + y1 < y2 + y3):
        raise BadRegion(
            f"the panel's corners {told} do not begin at the picture's top left; give them from "
            "there clockwise, and film the screen upright: its scan has to run down the picture"
        )


def _overlap(one: Rectangle, other: Rectangle) -> bool:
    return (
        one.x < other.x + other.width
        and other.x < one.x + one.width
        and one.y < other.y + other.height
        and other.y < one.y + one.height
    )
