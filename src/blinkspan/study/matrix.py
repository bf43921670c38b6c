"""Set two platforms against each other over many titles, each title its own pair.

Titles differ far more than platforms do, so a title counts only through the
difference between its two platforms in the same mode. Two questions are
answered apart: how far the platforms lie apart on the titles that were filmed,
which more presses settle, and on titles like these, which only more titles do.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from blinkspan.errors import BadSample
from blinkspan.quantities import Estimate
from blinkspan.study.mixed import MixedEffect, mixed_effect
from blinkspan.study.phrases import listed, plain_estimate, scaled, told, turned
from blinkspan.study.welch import variance_of_mean, welch_interval

Floats = npt.NDArray[np.float64]

_FEWEST_PRESSES = 3
_FILMED = "mean over titles of the paired differences, Welch interval"
_LIKE_THESE = "mean over titles of the paired differences, t interval over titles"


@dataclass(frozen=True, slots=True)
class Cell:
    """The accepted presses of one platform, mode and title."""

    platform: str
    mode: str
    title: str
    latency_s: Floats
    own_u_s: Floats


@dataclass(frozen=True, slots=True)
class PlatformEffect:
    """How far the first platform lies above the second, in milliseconds.

    Attributes
    ----------
    filmed_ms : Estimate
        On the titles that were filmed, each counting alike.
    like_these_ms : Estimate | None
        On titles like these; None below three titles.
    by_title_ms, by_mode_ms : tuple of (name, Estimate)
        Each title over its modes, each mode over its titles.
    left_out : tuple[str, ...]
        What only one of the platforms was filmed in.
    mixed_ms : MixedEffect | None
        The same by a mixed model, where it was asked for.
    """

    first: str
    second: str
    filmed_ms: Estimate
    like_these_ms: Estimate | None
    by_title_ms: tuple[tuple[str, Estimate], ...]
    by_mode_ms: tuple[tuple[str, Estimate], ...]
    left_out: tuple[str, ...]
    mixed_ms: MixedEffect | None

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for a document."""
        mixed = self.mixed_ms
        return {
            "first": self.first,
            "second": self.second,
            "filmed_ms": plain_estimate(self.filmed_ms),
            "like_these_ms": self.like_these_ms and plain_estimate(self.like_these_ms),
            "by_title_ms": {name: plain_estimate(one) for name, one in self.by_title_ms},
            "by_mode_ms": {name: plain_estimate(one) for name, one in self.by_mode_ms},
            "left_out": list(self.left_out),
            "mixed_ms": mixed
            and {
                "effect_ms": plain_estimate(mixed.effect),
                "title_sd_ms": mixed.title_sd,
                "notes": list(mixed.notes),
            },
            "sentence": str(self),
        }

    def __str__(self) -> str:
        """Return the effect in plain sentences."""
        titles = len(self.by_title_ms)
        said = [
            f"On the {titles} titles filmed, {_side(self.first, self.second, self.filmed_ms)}."
            if titles > 1
            else f"On the one title filmed, {_side(self.first, self.second, self.filmed_ms)}."
        ]
        if self.like_these_ms is None:
            said.append("So few titles say nothing of others.")
        else:
            said.append(
                f"On titles like these, {_side(self.first, self.second, self.like_these_ms)}."
            )
        if self.mixed_ms is not None:
            side = _side(self.first, self.second, self.mixed_ms.effect)
            said.append(f"By a mixed model, {side}.")
        if self.left_out:
            said.append(f"Left out for want of a partner: {listed(list(self.left_out))}.")
        return " ".join(said)


def compare_platforms(
    cells: Sequence[Cell],
    first: str,
    second: str,
    *,
    apart_u_s: float = 0.0,
    mixed: bool = False,
    level: float = 0.95,
) -> PlatformEffect:
    """Return how far one platform's latency lies above another's, paired by title and mode.

    Parameters
    ----------
    cells : sequence of Cell
        Any platforms; those not named are passed over.
    apart_u_s : float
        Standard uncertainty of the difference that every pair shares, such as two
        lamps that light unlike each other. What both platforms were filmed with,
        panel and camera, cancels and does not belong here.
    mixed : bool
        Whether to fit a mixed model as well (needs statsmodels).

    Raises
    ------
    BadSample
        No pair, a cell twice, or one with fewer than 3 presses.
    BadSetting
        A mixed model is asked for and statsmodels is not installed.
    """
    by_place, left_out = _pairs(cells, first, second)
    titles = sorted({title for title, _ in by_place})
    modes = sorted({mode for _, mode in by_place})
    of_title = [
        (title, [pair for (its, _), pair in by_place.items() if its == title]) for title in titles
    ]
    by_title = [(title, _average([pairs], apart_u_s, level)) for title, pairs in of_title]
    by_mode = [
        (mode, _average([[p] for (_, its), p in by_place.items() if its == mode], apart_u_s, level))
        for mode in modes
    ]
    shifts = np.array([estimate.value for _, estimate in by_title])
    like_these = None
    if shifts.size >= 3:
        like_these = welch_interval(
            float(shifts.mean()),
            [float(shifts.var(ddof=1)) / shifts.size],
            [shifts.size - 1],
            systematic_u=1e3 * apart_u_s,
            level=level,
            method=_LIKE_THESE,
        )
    return PlatformEffect(
        first=first,
        second=second,
        filmed_ms=_average([pairs for _, pairs in of_title], apart_u_s, level),
        like_these_ms=like_these,
        by_title_ms=tuple(by_title),
        by_mode_ms=tuple(by_mode),
        left_out=left_out,
        mixed_ms=_mixed(list(by_place.values()), level) if mixed else None,
    )


def _pairs(
    cells: Sequence[Cell], first: str, second: str
) -> tuple[dict[tuple[str, str], tuple[Cell, Cell]], tuple[str, ...]]:
    """Return each title and mode that both platforms have, and what only one has."""
    sides: dict[str, dict[tuple[str, str], Cell]] = {first: {}, second: {}}
    for cell in cells:
        if cell.platform not in sides:
            continue
        where = f"{cell.title}, {cell.mode} on {cell.platform}"
        if (cell.title, cell.mode) in sides[cell.platform]:
            raise BadSample(f"{where} is given twice; join its presses into one")
        if cell.latency_s.size < _FEWEST_PRESSES:
            raise BadSample(
                f"{where} has {cell.latency_s.size} accepted presses; "
                f"film until there are at least {_FEWEST_PRESSES}"
            )
        sides[cell.platform][cell.title, cell.mode] = cell
    ours, theirs = sides[first], sides[second]
    if first == second or not ours.keys() & theirs.keys():
        raise BadSample(
            f"{first} and {second} share no title and mode; film one title in one mode on both"
        )
    alone = sorted(ours.keys() ^ theirs.keys())
    left_out = tuple(
        f"{title}, {mode} on {first if (title, mode) in ours else second}" for title, mode in alone
    )
    return {place: (ours[place], theirs[place]) for place in ours if place in theirs}, left_out


def _average(
    of_title: Sequence[Sequence[tuple[Cell, Cell]]], apart_u_s: float, level: float
) -> Estimate:
    """Return the mean over titles of each one's mean difference over its modes, in ms."""
    value, variances, freedom = 0.0, [], []
    for pairs in of_title:
        weight = 1.0 / (len(of_title) * len(pairs))
        for ours, theirs in pairs:
            value += weight * float(ours.latency_s.mean() - theirs.latency_s.mean())
            for cell in (ours, theirs):
                variances.append(weight**2 * variance_of_mean(cell.latency_s, cell.own_u_s))
                freedom.append(cell.latency_s.size - 1)
    estimate = welch_interval(
        value, variances, freedom, systematic_u=apart_u_s, level=level, method=_FILMED
    )
    return scaled(estimate, 1e3)


def _mixed(pairs: Sequence[tuple[Cell, Cell]], level: float) -> MixedEffect:
    cells = [(cell, index == 0) for pair in pairs for index, cell in enumerate(pair)]
    sizes = [cell.latency_s.size for cell, _ in cells]
    return mixed_effect(
        1e3 * np.concatenate([cell.latency_s for cell, _ in cells]),
        np.repeat([first for _, first in cells], sizes),
        np.repeat([cell.mode for cell, _ in cells], sizes),
        np.repeat([cell.title for cell, _ in cells], sizes),
        level=level,
    )


def _side(first: str, second: str, effect: Estimate) -> str:
    """Return which platform is slower and by how much, or that neither is shown to be."""
    if effect.low <= 0.0 <= effect.high:
        return (
            f"neither platform is shown to be slower: {first} less {second} is {told(effect, 'ms')}"
        )
    if effect.value > 0.0:
        return f"{first} is slower than {second} by {told(effect, 'ms')}"
    return f"{second} is slower than {first} by {told(turned(effect), 'ms')}"
