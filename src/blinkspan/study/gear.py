"""What other gear would buy: a faster camera, a better measured display lag."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from functools import partial
from typing import Any

import numpy as np

from blinkspan.errors import BadSetting
from blinkspan.study.median import median_interval
from blinkspan.study.planning import Plan, presses_that_tell
from blinkspan.study.populations import Draw, Population, counted
from blinkspan.study.shift import Shift, shift_between

CAMERA_RATES_HZ = (120.0, 240.0, 480.0, 960.0)
_REPEATS = 200


@dataclass(frozen=True, slots=True)
class Gear:
    """A way to measure.

    Attributes
    ----------
    name : str
    presses : Population
        Presses as this gear would measure them.
    shared_u_ms : float
        Standard uncertainty that all presses share, such as the display lag's.
    """

    name: str
    presses: Population
    shared_u_ms: float = 0.0


@dataclass(frozen=True, slots=True)
class Bought:
    """What a way to measure gives.

    A median's interval is left out on purpose: whole frames counted coarsely draw the
    median towards the mean, which for presses spread evenly over a game frame is the
    sharper of the two, and a slow camera would seem to win.

    Attributes
    ----------
    own_u_ms : float
        Standard uncertainty of a single press.
    difference_width_ms : float
        Typical width, low to high, of the interval of a difference between two setups
        of the number of presses asked. What both share cancels in it.
    median_floor_ms : float
        Width that a setup's own median never goes below: that of the shared doubt.
    plan : Plan | None
        Presses of each for the width of a difference asked, where one was.
    """

    name: str
    own_u_ms: float
    shared_u_ms: float
    difference_width_ms: float
    median_floor_ms: float
    plan: Plan | None

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for a document."""
        return asdict(self)

    def __str__(self) -> str:
        said = (
            f"{self.name}: each press known to {self.own_u_ms:.1f} ms, "
            f"a difference typically to within {self.difference_width_ms:.1f} ms, low to high"
        )
        if self.median_floor_ms > 0.0:
            said += f", a median never to less than {self.median_floor_ms:.1f} ms"
        if self.plan is None:
            return f"{said}."
        if self.plan.presses is None:
            return f"{said}; not even {self.plan.most} presses of each reach the width asked."
        return f"{said}; {self.plan.presses} presses of each reach the width asked."


def cameras(
    true: Draw, rates_hz: Sequence[float] = CAMERA_RATES_HZ, *, shared_u_ms: float = 0.0
) -> tuple[Gear, ...]:
    """Return cameras of these rates whose whole frames are counted, as gear.

    Measuring below the frame does better than counting; how much better depends on
    the take and is in its presses' own uncertainties.
    """
    return tuple(
        Gear(f"{rate:g} fps, whole frames counted", counted(true, rate), shared_u_ms)
        for rate in rates_hz
    )


def what_gear_buys(
    gear: Sequence[Gear],
    presses: int,
    *,
    rng: np.random.Generator,
    width_ms: float | None = None,
) -> tuple[Bought, ...]:
    """Return what each way to measure gives of one and the same setup.

    Raises
    ------
    BadSetting
        No press, or a width that is not above zero.
    """
    if width_ms is not None and not width_ms > 0.0:
        raise BadSetting(f"an interval {width_ms:g} ms wide cannot be; give a width above zero")
    if presses < 1:
        raise BadSetting(f"{presses} presses cannot be; give one or more")
    bought = []
    for one in gear:
        widths = []
        for _ in range(_REPEATS):
            pair = [one.presses.draw(rng, presses) for _ in range(2)]
            u = one.presses.u
            widths.append(_width(shift_between(pair[0], u, pair[1], u, quick=True)))
        floor = median_interval([0.0], 0.0, one.shared_u_ms)
        plan = None
        if width_ms is not None:
            plan = presses_that_tell(
                one.presses,
                one.presses,
                partial(_is_narrow, width_ms),
                goal=f"an interval of the difference no wider than {width_ms:g} ms",
                rng=rng,
            )
        bought.append(
            Bought(
                name=one.name,
                own_u_ms=one.presses.u,
                shared_u_ms=one.shared_u_ms,
                difference_width_ms=float(np.median(widths)),
                median_floor_ms=floor.high - floor.low,
                plan=plan,
            )
        )
    return tuple(bought)


def _width(shift: Shift) -> float:
    got = shift.interval()
    return got.high - got.low


def _is_narrow(width: float, shift: Shift) -> bool:
    return _width(shift) <= width
