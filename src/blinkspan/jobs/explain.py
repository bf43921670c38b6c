"""Say where the time of a title's measured presses goes."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from blinkspan.errors import BadSetting
from blinkspan.jobs.accepted import Source
from blinkspan.jobs.title_modes import read_modes
from blinkspan.quantities import Measured
from blinkspan.study.explanation import Explanation
from blinkspan.study.explanation import explain as explained
from blinkspan.study.pipeline_links import USUAL_WIRED_POLLS_S, wireless_poll_s
from blinkspan.study.pipeline_prior import QueuePrior


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of the way of a press before the presses are looked at.

    Attributes
    ----------
    wireless : bool
    poll_ms : float | None
        Period of the link; None for a wired one averages over the usual periods.
    scan_ms : float
        Period of the control's own scan, 0 where there is none or it is unknown.
    free_refresh_hz : float | None
        The panel's refresh where it runs free of the game's frames.
    fixed_ms, fixed_u_ms : float | None
        The fixed part and its standard uncertainty, known from elsewhere.
    alike : bool
        Whether all modes of the title are held to queue as many frames.
    """

    wireless: bool = False
    poll_ms: float | None = None
    scan_ms: float = 0.0
    free_refresh_hz: float | None = None
    fixed_ms: float | None = None
    fixed_u_ms: float | None = None
    alike: bool = False


def explain(
    files: Sequence[Source],
    known: Known,
    *,
    game_rates_hz: Sequence[float] = (),
    baseline: Source | None = None,
    baseline_rate_hz: float | None = None,
    seed: int = 1,
) -> tuple[Explanation, tuple[str, ...]]:
    """Return where the time goes in measured takes, and what was assumed in plain sentences.

    Parameters
    ----------
    files : sequence of Path
        Documents of takes of one title on one platform.
    known : Known
    game_rates_hz : sequence of float
        The game's rate in each, where the documents do not say it.
    baseline, baseline_rate_hz : Path | None, float | None
        The system's own menu on the same gear, and its rate.
    seed : int
        Of the random numbers that the spread is checked with.

    Raises
    ------
    UnreadableTake, BadSetting, BadSample
        As ``read_modes`` and the study refuse, and for what cannot be known so.
    """
    links_s, prior = _links_s(known), _prior(known)
    modes = read_modes(
        files,
        game_rates_hz=game_rates_hz,
        baseline=baseline,
        baseline_rate_hz=baseline_rate_hz,
    )
    found = explained(
        modes.samples,
        links_s,
        np.random.default_rng(seed),
        prior=prior,
        baseline=modes.baseline,
        shared_u_s=modes.shared_u_s,
    )
    return found, (*modes.notes, *_said(known, prior, len(modes.samples)))


def _links_s(known: Known) -> list[tuple[float, ...]]:
    """Return the possible sets of waits in seconds."""
    for what, value in (("link poll", known.poll_ms), ("control scan", known.scan_ms)):
        if value is not None and not 0.0 <= value <= 1000.0:
            raise BadSetting(f"a {what} every {value:g} ms cannot be; give 0 to 1000 ms")
    if known.free_refresh_hz is not None and not 10.0 <= known.free_refresh_hz <= 1000.0:
        raise BadSetting(f"a refresh of {known.free_refresh_hz:g} Hz cannot be; give 10 to 1000")
    if known.wireless and known.poll_ms is None:
        raise BadSetting("the period of a wireless link is not known; give it with --poll")
    polls_s: tuple[float, ...] = USUAL_WIRED_POLLS_S
    if known.poll_ms is not None:
        poll_s = 1e-3 * known.poll_ms
        polls_s = (wireless_poll_s(poll_s) if known.wireless else poll_s,)
    refresh_s = 0.0 if known.free_refresh_hz is None else 1.0 / known.free_refresh_hz
    return [(1e-3 * known.scan_ms, poll_s, refresh_s) for poll_s in polls_s]


def _prior(known: Known) -> QueuePrior:
    same = 1.0 if known.alike else QueuePrior().same_queue
    if (known.fixed_ms is None) != (known.fixed_u_ms is None):
        raise BadSetting("a known fixed part needs its uncertainty; give --fixed and --fixed-u")
    if known.fixed_ms is None or known.fixed_u_ms is None:
        return QueuePrior(same_queue=same)
    if not (0.0 <= known.fixed_ms <= 1000.0 and 0.0 < known.fixed_u_ms < math.inf):
        raise BadSetting(
            f"a fixed part of {known.fixed_ms:g} ms with u {known.fixed_u_ms:g} ms cannot be; "
            "give 0 to 1000 ms and an uncertainty above zero"
        )
    fixed = Measured(1e-3 * known.fixed_ms, 1e-3 * known.fixed_u_ms)
    return QueuePrior(fixed_s=fixed, same_queue=same)


def _said(known: Known, prior: QueuePrior, modes: int) -> list[str]:
    said = []
    if known.poll_ms is None:
        polls = ", ".join(f"{1e3 * poll:g}" for poll in USUAL_WIRED_POLLS_S)
        said.append(f"The link's period is not known: {polls} ms are taken as equally probable.")
    if prior.fixed_s is None:
        said.append(
            f"Taken beforehand: a fixed part of {1e3 * prior.least_fixed_s:.0f} to "
            f"{1e3 * prior.most_fixed_s:.0f} ms and 0 to {prior.most_frames} queued frames, all "
            "as probable."
        )
    else:
        said.append(
            f"Taken beforehand: a fixed part of {known.fixed_ms:g} ± {known.fixed_u_ms:g} ms and "
            f"0 to {prior.most_frames} queued frames, all as probable."
        )
    if modes > 1:
        said.append(
            "All modes are held to queue as many frames."
            if known.alike
            else "A mode is held to queue as many frames as the others with a chance of "
            f"{prior.same_queue:g}, a judgement beforehand; to say that all are alike replaces it."
        )
    return said
