"""True times of frames: from the container's stamps, and from slow motion stamped for playback.

A file's stamps are whole ticks of its time base. They are kept as integers and
exact fractions up to the last step. The nominal rate is the mean of the steps
near the median step: the median alone would read 4, 4, 5, 4 thousandths as 250
frames a second, the mean of all steps would count every dropped frame.

References
----------
SMPTE ST 170 and its descendants: the colour rates are n * 1000 / 1001, so 240
and 239.76 frames a second differ by one part in a thousand.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from blinkspan.errors import BadSetting, UnreadableTake
from blinkspan.footage.frames import Clock

Stamps = npt.NDArray[np.int64]

FEWEST_FRAMES = 2  # a rate needs at least one step
HIGHEST_RATE_HZ = 100_000

_NEAR = 0.25  # steps within this share of the median are single steps
_SNAP = Fraction(1, 5000)  # a fifth of the 1/1001 that parts 240 from 239.76
_DECIMALS = Fraction(1, 10**5)  # rates are written with some five figures
_SAME_RATE = 0.02  # a tag this near the stamped rate only repeats it

_CAPTURE_RATE_TAG = "com.android.capture.fps"
_FULL_RATE_INTENT_TAG = "com.apple.quicktime.full-frame-rate-playback-intent"


@dataclass(frozen=True, slots=True)
class CaptureRate:
    """The rate the camera filmed at and where it was learned, in plain words."""

    rate_hz: Fraction
    source: str


def given_capture_rate(rate_hz: float) -> CaptureRate:
    """Return a rate stated by a person, as the decimal fraction they wrote.

    Raises
    ------
    BadSetting
        The rate is not a number above 0 and up to 100000.

    Examples
    --------
    >>> given_capture_rate(239.76).rate_hz, given_capture_rate(239.981).rate_hz
    (Fraction(240000, 1001), Fraction(239981, 1000))
    """
    if not _plausible(rate_hz):
        raise BadSetting(
            f"a capture rate of {rate_hz} frames a second cannot be right; "
            f"give a number above 0 and up to {HIGHEST_RATE_HZ}"
        )
    return CaptureRate(_as_written(rate_hz), "given")


def tagged_capture_rate(tags: Mapping[str, str]) -> tuple[CaptureRate | None, tuple[str, ...]]:
    """Return the capture rate that the camera wrote into the file, if any, and notes on the tags.

    Notes
    -----
    The playback-intent tag says how the film is meant to be shown, not how it
    was filmed, so it only makes a note.
    """
    notes: list[str] = []
    found: CaptureRate | None = None
    if (text := tags.get(_CAPTURE_RATE_TAG)) is not None:
        rate_hz = _number(text)
        if _plausible(rate_hz):
            found = CaptureRate(_as_written(rate_hz), "capture-rate tag")
        else:
            notes.append(f"the capture-rate tag reads {text!r} and was left aside")
    if (text := tags.get(_FULL_RATE_INTENT_TAG)) is not None:
        shown = "slowed" if text.strip() in {"0", "\x00"} else "at full rate"
        notes.append(f"the file asks to be played {shown}; that says nothing of the capture rate")
    return found, tuple(notes)


def true_clock(
    stamps: Stamps,
    time_base_s: Fraction,
    *,
    declared_hz: Fraction | None = None,
    given: CaptureRate | None = None,
    tagged: CaptureRate | None = None,
) -> Clock:
    """Return the clock behind a file's stamps.

    Parameters
    ----------
    stamps : ndarray of int64, shape (n,), rising, n >= 2
        Presentation stamps in ticks.
    time_base_s : Fraction
        Seconds a tick.
    declared_hz : Fraction, optional
        The rate the file's header states; see :func:`nominal_rate`.
    given, tagged : CaptureRate, optional
        The camera's rate where it is known apart from the stamps. A given rate
        is obeyed. A tag within 2 % of the stamped rate only repeats it, and
        the stamps, which hold the camera's own timing, are kept as they are.

    Returns
    -------
    Clock
        Real seconds from the first frame. Where the film is stamped for slow
        playback each step is multiplied by stamped rate / capture rate, so
        that dropped frames stay visible as gaps.

    Raises
    ------
    UnreadableTake
        Fewer than 2 frames, stamps that do not rise, or an impossible rate.

    Examples
    --------
    >>> slow = true_clock(np.arange(4) * 512, Fraction(1, 15360), given=given_capture_rate(240))
    >>> slow.rate_hz, [round(1e3 * t, 3) for t in slow.start_s.tolist()]
    (Fraction(240, 1), [0.0, 4.167, 8.333, 12.5])
    """
    if stamps.size < FEWEST_FRAMES:
        raise UnreadableTake(
            f"a take needs at least {FEWEST_FRAMES} frames and this one has {stamps.size}; "
            "give a film, not a picture"
        )
    if not np.all(np.diff(stamps) > 0):
        raise UnreadableTake(
            "the times of the frames do not rise; copy the take again from the camera's card"
        )
    stamped_hz = nominal_rate(stamps, time_base_s, declared_hz)
    if stamped_hz > HIGHEST_RATE_HZ:
        raise UnreadableTake(
            f"the file's times mean {float(stamped_hz):.0f} frames a second, which no camera "
            "reaches; copy the take again or give its capture rate"
        )
    capture = given or tagged
    if capture is None:
        rate_hz, source = stamped_hz, "container"
    elif given is None and abs(float(capture.rate_hz / stamped_hz) - 1.0) <= _SAME_RATE:
        rate_hz, source = stamped_hz, "container, as the capture-rate tag says"
    else:
        rate_hz = capture.rate_hz
        source = f"{capture.source}; the file is stamped {float(stamped_hz):.6g} frames a second"
    tick_s = time_base_s * stamped_hz / rate_hz
    counts = (stamps - stamps[0]).tolist()
    # Dividing whole numbers rounds once, so each time is the double nearest to the exact fraction.
    start_s = np.array([count * tick_s.numerator / tick_s.denominator for count in counts])
    return Clock(start_s=start_s, rate_hz=rate_hz, source=source)


def nominal_rate(
    stamps: Stamps, time_base_s: Fraction, declared_hz: Fraction | None = None
) -> Fraction:
    """Return the rate behind rising stamps, in frames a second.

    It is the exact well known rate (a multiple of 5 or 12, or 1000/1001 of
    one) where the steps allow it, else one over their mean.

    Notes
    -----
    Each unbroken run of single steps is known to one tick, half of one at
    either end. A short film with coarse ticks (60 frames in thousandths of a
    second) may allow both 240 and 239.76; only then is the header's rate heard.

    Examples
    --------
    >>> thousandths = np.rint(np.arange(2400) * 1001 / 240).astype(np.int64)
    >>> nominal_rate(thousandths, Fraction(1, 1000))
    Fraction(240000, 1001)
    """
    steps = np.diff(stamps)
    median = float(np.median(steps))
    single = np.abs(steps - median) <= max(1.0, _NEAR * median)
    runs = int(single[0]) + int(np.sum(single[1:] & ~single[:-1]))
    total = int(steps[single].sum())
    mean_hz = 1 / (Fraction(total, int(single.sum())) * time_base_s)
    return _snapped(mean_hz, max(_SNAP, Fraction(runs, total)), declared_hz)


def dropped_frames(clock: Clock) -> int:
    """Return how many frames are missing between the frames of a clock."""
    periods = np.diff(clock.start_s)[clock.gaps()] * float(clock.rate_hz)
    return int(np.sum(np.rint(periods) - 1.0))


def _snapped(rate_hz: Fraction, tolerance: Fraction, preferred: Fraction | None = None) -> Fraction:
    """Return the well known rate within a relative tolerance, else the rate itself."""
    whole = round(rate_hz)
    wholes = [n for n in range(max(whole - 1, 1), whole + 2) if n % 5 == 0 or n % 12 == 0]
    known = [rate for n in wholes for rate in (Fraction(n), Fraction(n * 1000, 1001))]
    fitting = [rate for rate in known if abs(rate - rate_hz) <= tolerance * rate_hz]
    if preferred in fitting:
        return preferred
    return min(fitting, key=lambda rate: abs(rate - rate_hz), default=rate_hz)


def _as_written(rate_hz: float) -> Fraction:
    """Return the exact rate meant by a decimal: 239.76 is 240000/1001, 239.981 is itself."""
    return _snapped(Fraction(str(rate_hz)).limit_denominator(100_000), _DECIMALS)


def _plausible(rate_hz: float) -> bool:
    """Say whether a camera could run at this rate."""
    return math.isfinite(rate_hz) and 0.0 < rate_hz <= HIGHEST_RATE_HZ


def _number(text: str) -> float:
    """Return the number a tag holds, NaN where it holds none."""
    try:
        return float(text)
    except ValueError:
        return math.nan
