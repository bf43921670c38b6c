"""Results of many takes as two tables: how far off the times are, and what was told apart."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from take_results import PressResult, TakeResult

_NONE = "–"


@dataclass(frozen=True, slots=True)
class Errors:
    """Errors of many presses, in milliseconds."""

    errors_ms: tuple[float, ...]

    @property
    def bias(self) -> str:
        """The mean error."""
        if not self.errors_ms:
            return _NONE
        return f"{math.fsum(self.errors_ms) / len(self.errors_ms):+.2f}"

    @property
    def rmse_ms(self) -> float | None:
        """The root of the mean squared error; None where there is none."""
        if not self.errors_ms:
            return None
        return math.sqrt(math.fsum(e * e for e in self.errors_ms) / len(self.errors_ms))

    @property
    def rmse(self) -> str:
        """The same as text."""
        return _NONE if self.rmse_ms is None else f"{self.rmse_ms:.2f}"

    @property
    def worst(self) -> str:
        """The largest error either way."""
        return _NONE if not self.errors_ms else f"{max(map(abs, self.errors_ms)):.2f}"


def times_table(groups: Sequence[tuple[str, Sequence[TakeResult]]]) -> str:
    """Return a Markdown table of how far off the accepted spans are, beside counting."""
    head = (
        "takes at 240 fps",
        "answered presses",
        "bias, ms",
        "RMSE, ms",
        "worst, ms",
        "within ±2u",
        "doubtful",
        "off by more than a game frame",
        "counting: bias, ms",
        "RMSE, ms",
        "perfect eye: bias, ms",
        "RMSE, ms",
        "counting / blinkspan",
    )
    return _table(head, [_times(name, takes) for name, takes in groups])


def events_table(groups: Sequence[tuple[str, Sequence[TakeResult]]]) -> str:
    """Return a Markdown table of presses, missed answers and strays found and invented."""
    head = (
        "takes",
        "presses found",
        "presses invented",
        "missed answers told",
        "answers not found",
        "strays told",
        "strays invented",
        "takes refused",
    )
    return _table(head, [_events(name, takes) for name, takes in groups])


def _times(name: str, takes: Sequence[TakeResult]) -> list[str]:
    answered = [(p, t.game_ms) for t in takes for p in t.presses if p.true_ms is not None]
    kept = [(p, game_ms) for p, game_ms in answered if p.accepted and p.error_ms is not None]
    ours = Errors(tuple(p.error_ms for p, _ in kept if p.error_ms is not None))
    counted = [p for p, _ in kept if p.counted_ms is not None]
    by_count = Errors(tuple(_off(p, p.counted_ms) for p in counted))
    by_eye = Errors(tuple(_off(p, p.eye_ms) for p, _ in kept))
    ours_there = Errors(tuple(p.error_ms for p in counted if p.error_ms is not None)).rmse_ms
    ratio = _NONE
    if ours_there and by_count.rmse_ms is not None:
        ratio = f"{by_count.rmse_ms / ours_there:.1f}"
    held = sum(abs(_off(p, p.ms)) <= 2 * (p.u_ms or 0.0) for p, _ in kept)
    far = sum(abs(_off(p, p.ms)) > game_ms for p, game_ms in kept)
    return [
        name,
        f"{len(answered)}",
        ours.bias,
        ours.rmse,
        ours.worst,
        _share(held, len(kept)),
        _share(len(answered) - len(kept), len(answered)),
        f"{far}",
        by_count.bias,
        by_count.rmse,
        by_eye.bias,
        by_eye.rmse,
        ratio,
    ]


def _events(name: str, takes: Sequence[TakeResult]) -> list[str]:
    presses = [p for t in takes for p in t.presses]
    missed = [p for p in presses if p.true_ms is None]
    answered = [p for p in presses if p.true_ms is not None and p.found]
    return [
        name,
        f"{sum(p.found for p in presses)} of {len(presses)}",
        f"{sum(t.invented_presses for t in takes)}",
        f"{sum(p.found and p.ms is None for p in missed)} of {len(missed)}",
        f"{sum(p.ms is None for p in answered)}",
        f"{sum(t.strays_found for t in takes)} of {sum(t.strays for t in takes)}",
        f"{sum(t.strays_invented for t in takes)}",
        f"{sum(t.refused is not None for t in takes)} of {len(takes)}",
    ]


def _off(press: PressResult, ms: float | None) -> float:
    """Return how far off a span of a press is that is known to have both."""
    assert ms is not None
    assert press.true_ms is not None
    return ms - press.true_ms


def _share(part: int, whole: int) -> str:
    return _NONE if whole == 0 else f"{100 * part / whole:.1f} %"


def _table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    lines = [f"| {' | '.join(head)} |", f"|---|{'---:|' * (len(head) - 1)}"]
    lines += [f"| {' | '.join(row)} |" for row in rows]
    return "\n".join(lines)
