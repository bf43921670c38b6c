"""Tell queued frames from the fixed part, as far as the presses can: a posterior on a grid.

Their sum is always told, but k frames of one mode and the fixed part trade off,
one game frame against so many milliseconds. In one mode alone only knowledge of
the fixed part from elsewhere tells them apart. Over several modes of a title
the frames stretch with the game-frame time and the fixed part does not. Even
so two modes that may queue differently are one equation short, and the answer
rests on the prior that modes of a title mostly queue alike. All of this is in
the posterior; where it is spread over several k, nothing more is known.
"""

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
from scipy.special import logsumexp, ndtri

from blinkspan.errors import BadSample, BadSetting
from blinkspan.quantities import Estimate, rectangular
from blinkspan.study.modes import ModeSample, checked_modes
from blinkspan.study.pipeline_distribution import Distribution
from blinkspan.study.pipeline_likelihood import LATE_SHARES, half_stray, log_likelihood
from blinkspan.study.pipeline_prior import FIXED_STEP_S, QueuePrior, log_late_shares, queues_of
from blinkspan.study.queues import LateFrames, QueuePosterior

Floats = npt.NDArray[np.float64]

_BLUR_REACH = 4.0  # standard deviations of a systematic part to either side
_LEAST_CHANCE = 1e-3  # queues less probable are not listed
_METHOD = "posterior on a grid, central interval"


def infer_queue(
    samples: Sequence[ModeSample],
    links_s: Sequence[tuple[float, ...]],
    prior: QueuePrior | None = None,
    *,
    shared_u_s: float = 0.0,
    level: float = 0.95,
) -> QueuePosterior:
    """Return what the presses say of queued frames, fixed part and late frames.

    Parameters
    ----------
    samples : sequence of ModeSample
        One a mode of one title on one platform; at least 3 presses each.
    links_s : sequence of tuples of float
        Each tuple one possible set of waits, in seconds: the periods of control
        scan and link poll, and of a free-running refresh. Several tuples are
        taken as equally probable, the same one in all modes.
    prior : QueuePrior | None
        None for the default.
    shared_u_s : float
        Standard uncertainty common to all modes.

    Raises
    ------
    BadSample
        Too few presses, or presses that no queue and fixed part of the prior explain.
    BadSetting
        No set of waits.

    Notes
    -----
    Cost is O(links * presses * frames * fixed parts), and the number of frames to
    the power of the modes where these may differ.

    Examples
    --------
    >>> wait = (np.arange(12) + 0.5) / 12
    >>> u = np.full(12, 0.5e-3)
    >>> at_60 = ModeSample("60 fps", 1 / 60, 0.020 + (2 + wait) / 60, u)
    >>> at_30 = ModeSample("30 fps", 1 / 30, 0.020 + (2 + wait) / 30, u)
    >>> alike = QueuePrior(same_queue=1.0)
    >>> infer_queue([at_60], [()], alike).told, infer_queue([at_60, at_30], [()], alike).told
    (False, True)
    """
    if not links_s:
        raise BadSetting("no set of waits was given; give one, empty if there are none")
    prior = prior or QueuePrior()
    modes = checked_modes(samples, fewest_presses=3)
    fixed_s = prior.fixed_grid()
    queues, log_queues = queues_of(len(modes), prior)
    # one list a link, by mode: the likelihood by late share, frames and fixed part
    layers = [[_blurred(mode, waits_s, fixed_s, prior) for mode in modes] for waits_s in links_s]
    log_steady = log_late_shares(prior.steady, LATE_SHARES.size)[:, None, None]
    start = log_queues[:, None] + prior.log_fixed(fixed_s, shared_u_s)
    joint = np.stack(
        [
            start
            + sum(
                logsumexp(layer + log_steady, axis=0)[queues[:, index]]
                for index, layer in enumerate(by_mode)
            )
            for by_mode in layers
        ]
    )
    _refuse_if_nothing_fits(modes, layers, prior)
    weight = np.exp(joint - joint.max())
    weight /= weight.sum()  # by link, queue and fixed part
    chance = weight.sum(axis=(0, 2))
    order = np.argsort(-chance, kind="stable")
    listed = [int(v) for v in order if chance[v] >= _LEAST_CHANCE]
    fit = chance[listed] / np.exp(log_queues[listed])
    by_fixed = weight.sum(axis=0)
    first = by_fixed[order[0]] / by_fixed[order[0]].sum()
    return QueuePosterior(
        names=tuple(mode.name for mode in modes),
        frame_ms=tuple(1e3 * mode.frame_s for mode in modes),
        queues=tuple(tuple(int(k) for k in queues[v]) for v in listed),
        chances=tuple(float(chance[v]) for v in listed),
        fits=tuple((fit / fit.max()).tolist()),
        fixed_ms=_central(by_fixed.sum(axis=0), fixed_s, shared_u_s, level),
        fixed_of_first_ms=_central(first, fixed_s, shared_u_s, level),
        sum_ms=tuple(
            _sum(weight, queues[:, index], fixed_s, mode, shared_u_s, level)
            for index, mode in enumerate(modes)
        ),
        late=tuple(
            _late(
                [by_mode[index] + log_steady for by_mode in layers],
                weight,
                queues[:, index],
                level,
            )
            for index in range(len(modes))
        ),
        level=level,
    )


def _blurred(
    mode: ModeSample, waits_s: Sequence[float], fixed_s: Floats, prior: QueuePrior
) -> Floats:
    """Return the log-likelihood with the mode's own systematic part summed out."""
    pad = math.ceil(_BLUR_REACH * mode.mode_u_s / FIXED_STEP_S)
    steps = np.arange(-pad, pad + 1)
    wide_s = fixed_s[0] + FIXED_STEP_S * np.arange(-pad, fixed_s.size + pad)
    found = log_likelihood(mode, waits_s, wide_s, prior.most_frames)
    if pad == 0:
        return found
    weight = np.exp(-0.5 * (steps * FIXED_STEP_S / mode.mode_u_s) ** 2)
    log_weight = np.log(weight / weight.sum())
    views = np.lib.stride_tricks.sliding_window_view(found, steps.size, axis=2)
    blurred: Floats = logsumexp(views + log_weight, axis=3)
    return blurred


def _refuse_if_nothing_fits(
    modes: Sequence[ModeSample], layers: Sequence[Sequence[Floats]], prior: QueuePrior
) -> None:
    for index, mode in enumerate(modes):
        best = max(float(by_mode[index].max()) for by_mode in layers)
        if best < half_stray(mode):
            grid = 1e3 * prior.fixed_grid()
            raise BadSample(
                f"the presses of {mode.name}, mean {1e3 * mode.mean_s:.1f} ms, fit no queue of 0 "
                f"to {prior.most_frames} frames with a fixed part of {grid[0]:.0f} to "
                f"{grid[-1]:.0f} ms; check the game rate and how far they spread, or allow more"
            )


def _central(mass: Floats, fixed_s: Floats, shared_u_s: float, level: float) -> Estimate:
    """Return the median and central interval of the fixed part, in milliseconds."""
    grid = Distribution(float(fixed_s[0]), FIXED_STEP_S, mass)
    pad = math.ceil(_BLUR_REACH * shared_u_s / FIXED_STEP_S)
    if pad:
        weight = np.exp(-0.5 * (np.arange(-pad, pad + 1) * FIXED_STEP_S / shared_u_s) ** 2)
        wide = np.convolve(mass, weight / weight.sum())
        grid = Distribution(grid.start_s - pad * FIXED_STEP_S, FIXED_STEP_S, wide)
    low, middle, high = 1e3 * grid.quantile(np.array([0.5 - level / 2, 0.5, 0.5 + level / 2]))
    return Estimate(float(middle), float(low), float(high), level, _METHOD)


def _sum(
    weight: Floats,
    queue: npt.NDArray[np.intp],
    fixed_s: Floats,
    mode: ModeSample,
    shared_u_s: float,
    level: float,
) -> Estimate:
    """Return fixed part and queued frames together, in milliseconds: they trade off, this holds."""
    total = (queue[:, None] * mode.frame_s + fixed_s).ravel()
    order = np.argsort(total)
    cumulated = np.cumsum(weight.sum(axis=0).ravel()[order])
    at = np.searchsorted(cumulated, [0.5 - level / 2, 0.5, 0.5 + level / 2])
    low, middle, high = (float(total[order[min(i, order.size - 1)]]) for i in at)
    shared = float(ndtri(0.5 + level / 2)) * math.hypot(shared_u_s, rectangular(FIXED_STEP_S / 2))
    return Estimate(
        1e3 * middle,
        1e3 * (middle - math.hypot(middle - low, shared)),
        1e3 * (middle + math.hypot(high - middle, shared)),
        level,
        _METHOD,
    )


def _late(
    layers: Sequence[Floats], weight: Floats, queue: npt.NDArray[np.intp], level: float
) -> LateFrames:
    """Return how probably some presses of a mode came a frame late, and how many."""
    chance = np.zeros(LATE_SHARES.size)
    for layer, of_link in zip(layers, weight, strict=True):
        by_frames = np.zeros(layer.shape[1:])
        np.add.at(by_frames, queue, of_link)
        chance += (np.exp(layer - logsumexp(layer, axis=0)) * by_frames).sum(axis=(1, 2))
    some = 1.0 - float(chance[0])
    if some <= 0.0:
        return LateFrames(0.0, None)
    given = chance[1:] / chance[1:].sum()
    cumulated = np.cumsum(given)
    low, high = (
        float(LATE_SHARES[1:][np.searchsorted(cumulated, q)])
        for q in (0.5 - level / 2, 0.5 + level / 2)
    )
    mean = float(given @ LATE_SHARES[1:])
    return LateFrames(some, Estimate(mean, low, high, level, _METHOD))
