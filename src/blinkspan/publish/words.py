"""Every number as text, once: the command line, the report and the chart use the same words."""

from collections.abc import Mapping

from blinkspan.presses.press import Reason, Verdict
from blinkspan.publish.parts import PressPart, SummaryPart

NONE = "–"
_MINUS = "\N{MINUS SIGN}"

REASONS: dict[Reason, str] = {
    Reason.NO_RESPONSE: "nothing in the watched part was found to answer it as others are answered",
    Reason.TWO_CANDIDATES: "two changes could each be the response",
    Reason.WEAK_RESPONSE: "the response hardly stands out from the picture's usual motion",
    Reason.TOO_SOON: "the change came sooner after the lamp than any response could",
    Reason.BOUNCE: "the lamp blinked as a bouncing contact does, so its onset is not one instant",
    Reason.OVERLAP: "the next press began before this one had its response",
    Reason.UNSTEADY_LAMP: "the lamp's light did not hold still enough to time its onset",
    Reason.CLIPPED_LAMP: "the lamp is so bright in the picture that its onset is blunted",
    Reason.DROPPED_FRAMES: "the camera left out frames where it mattered",
    Reason.CUT_OFF: "the take begins or ends in the middle of the press",
    Reason.SLOW_MOTION: "the take is stamped for slow playback, so its times are too long; "
    "give its capture rate",
}
VERDICTS: dict[Verdict, str] = {
    Verdict.ACCEPTED: "counts in the summary",
    Verdict.DOUBTFUL: "measured but not counted; look at its frames and decide",
    Verdict.REJECTED: "not used",
}


def number(value: float | None, digits: int = 1) -> str:
    """Return the value with that many decimals and a true minus sign, or a dash for none.

    Examples
    --------
    >>> number(84.26), number(-0.04), number(-3.25, 2), number(None)
    ('84.3', '0.0', '−3.25', '–')
    """
    if value is None:
        return NONE
    text = f"{abs(value):.{digits}f}"
    return f"{_MINUS}{text}" if value < 0 and float(text) != 0 else text


def milliseconds(value: float | None) -> str:
    """Return a duration in milliseconds with one decimal.

    Examples
    --------
    >>> milliseconds(84.26)
    '84.3 ms'
    """
    return NONE if value is None else f"{number(value)} ms"


def after(ms: float) -> str:
    """Return how long after an event something was, in milliseconds with its sign.

    Examples
    --------
    >>> after(2.13), after(-2.04)
    ('+2.1 ms', '−2.0 ms')
    """
    return f"{'+' if round(ms, 1) > 0 else ''}{milliseconds(ms)}"


def seconds(value: float | None) -> str:
    """Return an instant of the take in seconds, to a tenth of a millisecond.

    Examples
    --------
    >>> seconds(3.41397)
    '3.4140 s'
    """
    return NONE if value is None else f"{number(value, 4)} s"


def hertz(value: float | None) -> str:
    """Return a rate with as many decimals as it needs, three at most.

    Examples
    --------
    >>> hertz(240.0), hertz(60000 / 1001)
    ('240 Hz', '59.94 Hz')
    """
    return NONE if value is None else f"{number(value, 3).rstrip('0').rstrip('.')} Hz"


def plus_minus(u: float | None) -> str:
    """Return a standard uncertainty after its sign: one decimal, two where one would show 0.

    Examples
    --------
    >>> plus_minus(0.72), plus_minus(0.04)
    ('± 0.7', '± 0.04')
    """
    return NONE if u is None else f"± {number(u, _digits_for(u))}"


def with_u(value: float | None, u: float | None, unit: str = "ms") -> str:
    """Return a value with its standard uncertainty and unit.

    Examples
    --------
    >>> with_u(84.26, 0.72), with_u(2.0833, 0.04), with_u(84.26, None)
    ('84.3 ± 0.7 ms', '2.08 ± 0.04 ms', '84.3 ms')
    """
    if value is None:
        return NONE
    if u is None:
        return f"{number(value)} {unit}".rstrip()
    return f"{number(value, _digits_for(u))} {plus_minus(u)} {unit}".rstrip()


def interval(ends: tuple[float, float] | None, unit: str = "ms") -> str:
    """Return the two ends of an interval or a range.

    Examples
    --------
    >>> interval((80.1, 88.94))
    '80.1 to 88.9 ms'
    """
    if ends is None:
        return NONE
    return f"{number(ends[0])} to {number(ends[1])} {unit}".rstrip()


def level(share: float | None) -> str:
    """Return a confidence level in per cent.

    Examples
    --------
    >>> level(0.95), level(0.961)
    ('95 %', '96.1 %')
    """
    return NONE if share is None else f"{number(100 * share).removesuffix('.0')} %"


def count(n: int) -> str:
    """Return a sample's size.

    Examples
    --------
    >>> count(12)
    'n = 12'
    """
    return f"n = {n}"


def counted(n: int, one: str, many: str) -> str:
    """Return how many there are of something, with its name in the right number.

    Examples
    --------
    >>> counted(1, "press", "presses"), counted(0, "press", "presses")
    ('1 press', '0 presses')
    """
    return f"{n} {one if n == 1 else many}"


def kept_apart(summary: SummaryPart) -> tuple[str, ...]:
    """Return how many presses were doubtful and how many rejected, without those of none."""
    kinds = (("doubtful", summary.doubtful), ("rejected", summary.rejected))
    return tuple(f"{many} {kind}" for kind, many in kinds if many)


def counts(summary: SummaryPart) -> str:
    """Return how many presses were accepted, and the others where there are any."""
    return ", ".join((count(summary.n), *kept_apart(summary)))


def verdict(press: PressPart) -> str:
    """Return the verdict and, where there is one, the reason."""
    return f"{press.verdict}: {press.reason}" if press.reason else str(press.verdict)


def game_frames(value: float | None) -> str:
    """Return a duration in frames of the game.

    Examples
    --------
    >>> game_frames(5.06)
    '5.1 game frames'
    """
    return NONE if value is None else f"{number(value)} game frames"


def sentence(summary: SummaryPart) -> str:
    """Return what a setup's presses say, as one or two plain sentences."""
    if summary.median_ms is None:
        return (
            f"No press was accepted ({summary.doubtful} doubtful, {summary.rejected} rejected), "
            "so there is no median."
        )
    presses = "accepted press" if summary.n == 1 else "accepted presses"
    told = f"The median of {summary.n} {presses} is {milliseconds(summary.median_ms)}"
    if summary.median_game_frames is not None:
        told += f", {game_frames(summary.median_game_frames)}"
    if summary.median_interval_ms is not None:
        told += (
            f" ({level(summary.interval_level)} interval {interval(summary.median_interval_ms)})"
        )
    if summary.n < 2 or summary.low_ms is None or summary.high_ms is None:
        return f"{told}."
    return (
        f"{told}. The quickest took {milliseconds(summary.low_ms)}, "
        f"the slowest {milliseconds(summary.high_ms)}."
    )


def medians_sentence(medians_ms: Mapping[str, float | None]) -> str:
    """Return how far the medians of several setups reach, as one plain sentence.

    Examples
    --------
    >>> medians_sentence({"A": 84.0, "B": 71.96, "C": None})
    'The medians of 2 setups run from 72.0 ms (B) to 84.0 ms (A); 1 setup has none.'
    """
    known = {name: ms for name, ms in medians_ms.items() if ms is not None}
    missing = len(medians_ms) - len(known)
    if not known:
        return "No setup has an accepted press, so there is no median."
    without = (
        f"; {missing} {'setup has' if missing == 1 else 'setups have'} none" if missing else ""
    )
    low, high = min(known, key=known.__getitem__), max(known, key=known.__getitem__)
    if low == high:
        return f"The median of {low} is {milliseconds(known[low])}{without}."
    return (
        f"The medians of {len(known)} setups run from {milliseconds(known[low])} ({low}) "
        f"to {milliseconds(known[high])} ({high}){without}."
    )


def lag_told(*, net: bool) -> str:
    """Return whether numbers are told with or without the display's lag, as a sentence."""
    return "The display’s lag is taken off." if net else "The display’s lag is in these numbers."


def _digits_for(u: float) -> int:
    """Two decimals where one would show no doubt at all."""
    return 2 if 0 < u < 0.1 else 1
