"""Plan how many presses a question needs, from a pilot or from the pipeline model."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from blinkspan.errors import BadSample, BadSetting
from blinkspan.jobs.accepted import Source
from blinkspan.jobs.setups import MeasuredSetup, read_setups
from blinkspan.study.gear import Bought, Gear, cameras, what_gear_buys
from blinkspan.study.phrases import counted as so_many
from blinkspan.study.pipeline import Pipeline
from blinkspan.study.planning import (
    FEWEST_FOR_A_PLAN,
    Plan,
    presses_for_width,
    presses_to_detect,
    presses_to_show_same,
)
from blinkspan.study.populations import (
    Draw,
    Population,
    from_pilot,
    measured,
    true_like,
)
from blinkspan.study.smoothing import Numbers
from blinkspan.study.timing import ADVICE, metronome

_POLL_S = 4e-3  # a usual period of a wired link (common practice: 1 to 8 ms)
_USUAL_U_MS = 0.5  # of a press measured below the camera's frame


@dataclass(frozen=True, slots=True)
class Wishes:
    """What the presses are to show; None where it is not asked.

    Attributes
    ----------
    width_ms : float | None
        Of the median's 95 % interval, low to high.
    detect_ms : float | None
        A difference to be told from none.
    same_within_ms : float | None
        A margin within which two like setups are to be shown the same.
    power : float
        Share of experiments that are to succeed.
    gear_presses : int | None
        Presses at which to say what other gear would buy.
    """

    width_ms: float | None = None
    detect_ms: float | None = None
    same_within_ms: float | None = None
    power: float = 0.8
    gear_presses: int | None = None

    @property
    def any(self) -> bool:
        """Whether anything is asked that simulated presses must answer."""
        asked = (self.width_ms, self.detect_ms, self.same_within_ms, self.gear_presses)
        return any(wish is not None for wish in asked)


@dataclass(frozen=True, slots=True)
class Planned:
    """Plans, what gear would buy, beats to press to, and what all rests on."""

    plans: tuple[Plan, ...]
    gear: tuple[Bought, ...]
    beats_s: tuple[float, ...]
    notes: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for a document."""
        return {
            "plans": [plan.to_dict() for plan in self.plans],
            "gear": [one.to_dict() for one in self.gear],
            "beats_s": list(self.beats_s),
        }


def plan(
    files: Sequence[Source],
    wishes: Wishes,
    *,
    game_rate_hz: float | None = None,
    u_ms: float | None = None,
    lag_u_ms: float | None = None,
    beats: int | None = None,
    gap_s: float = 1.0,
    seed: int = 1,
) -> Planned:
    """Return how many presses each wish needs.

    Parameters
    ----------
    files : sequence of Path
        Documents of pilot takes of one setup; without any, the pipeline model
        of a game at ``game_rate_hz`` serves: waits for the link's poll and the game's
        next frame, spread evenly.
    u_ms : float | None
        Standard uncertainty of one press in the experiment planned; that of the
        pilot, or 0.5 ms, where not given.
    lag_u_ms : float | None
        Standard uncertainty of the display lag to plan with.
    beats, gap_s : int | None, float
        Jittered beats to press to, and their mean gap.

    Raises
    ------
    UnreadableTake, BadSetting, BadSample
        As ``read_setups`` and the plans refuse.
    """
    for what, value in (("uncertainty", u_ms), ("lag's uncertainty", lag_u_ms)):
        if value is not None and not 0.0 <= value < math.inf:
            raise BadSetting(f"an {what} of {value:g} ms cannot be; give zero or more")
    rng = np.random.default_rng(seed)
    if beats is not None and not files and game_rate_hz is None and not wishes.any:
        return Planned((), (), _beats(beats, gap_s, rng), (ADVICE,))
    setup, notes = (None, ()) if not files else _pilot(files)
    if setup is None:
        true, presses, said = _modelled(game_rate_hz, u_ms)
        shared_u_ms = 0.0 if lag_u_ms is None else lag_u_ms
    else:
        true, presses, said = _piloted(setup, u_ms)
        shared_u_ms = setup.sample.shared_u_ms if lag_u_ms is None else lag_u_ms
    bought: tuple[Bought, ...] = ()
    if wishes.gear_presses is not None:
        gear = [Gear("as planned", presses, shared_u_ms), *cameras(true, shared_u_ms=shared_u_ms)]
        bought = what_gear_buys(gear, wishes.gear_presses, rng=rng)
    return Planned(
        plans=_plans(presses, shared_u_ms, wishes, rng),
        gear=bought,
        beats_s=() if beats is None else _beats(beats, gap_s, rng),
        notes=(said, *notes, ADVICE),
    )


def _beats(beats: int, gap_s: float, rng: np.random.Generator) -> tuple[float, ...]:
    return tuple(metronome(beats, gap_s, rng).tolist())


def _plans(
    presses: Population, shared_u_ms: float, wishes: Wishes, rng: np.random.Generator
) -> tuple[Plan, ...]:
    plans = []
    if wishes.width_ms is not None:
        plans.append(
            presses_for_width(
                presses, wishes.width_ms, rng=rng, shared_u=shared_u_ms, share=wishes.power
            )
        )
    if wishes.detect_ms is not None:
        if not 0.0 < abs(wishes.detect_ms) < math.inf:
            raise BadSetting(
                f"a difference of {wishes.detect_ms:g} ms cannot be told; give one above zero"
            )
        plans.append(
            presses_to_detect(
                presses,
                presses.shifted(wishes.detect_ms),
                goal=f"telling apart two setups that differ by {abs(wishes.detect_ms):g} ms",
                rng=rng,
                power=wishes.power,
            )
        )
    if wishes.same_within_ms is not None:
        plans.append(
            presses_to_show_same(
                presses, presses, wishes.same_within_ms, rng=rng, power=wishes.power
            )
        )
    return tuple(plans)


def _pilot(files: Sequence[Source]) -> tuple[MeasuredSetup, tuple[str, ...]]:
    (setup,), notes = read_setups(files, ["the pilot"] * len(files))
    if setup.summary.n < FEWEST_FOR_A_PLAN:
        raise BadSample(
            f"the pilot has {so_many(setup.summary.n, 'accepted press')}, which says nothing of "
            f"how presses spread; give {FEWEST_FOR_A_PLAN} or more, or --game-rate without a pilot"
        )
    return setup, (*(f"The pilot: {note}" for note in setup.summary.notes()), *notes)


def _piloted(setup: MeasuredSetup, u_ms: float | None) -> tuple[Draw, Population, str]:
    values, own = setup.sample.latency_ms, setup.sample.own_u_ms
    true = true_like(values, own)
    presses = from_pilot(values, own) if u_ms is None else measured(true, u_ms)
    said = (
        f"Planned from {so_many(values.size, 'pilot press')}: the fewer there are, the less a "
        "plan can be relied on."
    )
    return true, presses, said


def _modelled(game_rate_hz: float | None, u_ms: float | None) -> tuple[Draw, Population, str]:
    if game_rate_hz is None:
        raise BadSetting("there is no pilot to plan from; give takes or --game-rate")
    if not 1.0 <= game_rate_hz <= 1000.0:
        raise BadSetting(f"a game rate of {game_rate_hz:g} Hz cannot be; give frames a second")
    frame_s = 1.0 / game_rate_hz
    pipeline = Pipeline(frame_s, 2, frame_s, poll_period_s=_POLL_S)

    def true(rng: np.random.Generator, n: int) -> Numbers:
        waits = rng.uniform(0.0, 1.0, (n, len(pipeline.waits_s))) @ np.array(pipeline.waits_s)
        fixed = pipeline.mean_s - sum(pipeline.waits_s) / 2.0
        spans: Numbers = 1e3 * (fixed + waits)
        return spans

    said = (
        f"Planned from a model: presses that wait evenly for a link polled every "
        f"{1e3 * _POLL_S:.0f} ms and a game frame of {1e3 * frame_s:.1f} ms, and nothing else."
    )
    return true, measured(true, _USUAL_U_MS if u_ms is None else u_ms), said
