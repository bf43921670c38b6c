"""How often the queued frames are told right, and whether the stated chances can be believed.

Simulated setups of 20 presses a mode, played event by event on free-running
clocks with 0.7 ms of measurement noise, and inferred with the same call as
``blinkspan explain``. "right" is the most probable queue; "told" is a chance of
0.95 or more; "told wrong" should stay under 5 in 100 of what is told.

Run: python benchmarks/queue_inference.py [setups a design, default 200]
"""

import sys
import time

import numpy as np

from blinkspan.quantities import Measured
from blinkspan.study.ladder import climb
from blinkspan.study.modes import ModeSample
from blinkspan.study.pipeline import Pipeline
from blinkspan.study.pipeline_events import simulate_spans
from blinkspan.study.pipeline_inference import infer_queue
from blinkspan.study.pipeline_likelihood import LATE_SHARES
from blinkspan.study.pipeline_links import USUAL_WIRED_POLLS_S
from blinkspan.study.pipeline_prior import QueuePrior, queues_of

NOISE_S = 0.7e-3
PRESSES = 20
LINK = [(4e-3,)]
UNKNOWN = [(poll,) for poll in USUAL_WIRED_POLLS_S]
ALIKE = QueuePrior(same_queue=1.0)

DESIGNS = [
    ("60 alone, fixed part unknown", (60,), QueuePrior(), LINK),
    ("60 alone, fixed part known to 2 ms", (60,), QueuePrior(fixed_s=Measured(0.03, 2e-3)), LINK),
    ("60 alone, fixed part known to 4 ms", (60,), QueuePrior(fixed_s=Measured(0.03, 4e-3)), LINK),
    ("30 + 60 that queue alike", (30, 60), ALIKE, LINK),
    ("60 + 120 that queue alike", (60, 120), ALIKE, LINK),
    ("60 + 120 alike, link unknown", (60, 120), ALIKE, UNKNOWN),
    ("30 + 60 that may differ", (30, 60), QueuePrior(), LINK),
    ("30 + 60 + 120 that may differ", (30, 60, 120), QueuePrior(), LINK),
]


def played(fps, queued, fixed_s, poll_s, late, rng, n=PRESSES):
    refresh_s = 1.0 / max(60, fps)
    pipeline = Pipeline(
        1.0 / fps, queued, refresh_s, 0.0, poll_s, system_s=fixed_s, late_share=late
    )
    seen = simulate_spans(pipeline, n, rng) + rng.normal(0.0, NOISE_S, n)
    u = np.full(n, NOISE_S)
    return ModeSample(f"{fps} fps", 1.0 / fps, seen, u, scanout_s=pipeline.scanout_s)


def right_queues(setups):
    print(f"Jitter-free queues of 0 to 4 frames, {PRESSES} presses a mode, {setups} setups a row")
    head = ("right", "told", "told wrong", "ladder", "ms each")
    print(f"{'design':38}" + "".join(f"{word:>11}" for word in head))
    for name, rates, prior, links in DESIGNS:
        rng = np.random.default_rng(1)
        right = told = wrong = ladder = 0
        spent = 0.0
        for _ in range(setups):
            queued = int(rng.integers(0, 5))
            fixed_s = rng.uniform(0.005, 0.06)
            if prior.fixed_s is not None:
                fixed_s = max(rng.normal(prior.fixed_s.value, prior.fixed_s.u), 0.0)
            (poll_s,) = links[rng.integers(len(links))]
            modes = [played(fps, queued, fixed_s, poll_s, 0.0, rng) for fps in rates]
            begun = time.perf_counter()
            found = infer_queue(modes, links, prior)
            spent += time.perf_counter() - begun
            hit = found.queues[0] == (queued,) * len(rates)
            right += hit
            told += found.told
            wrong += found.told and not hit
            if len(rates) > 1:
                ladder += round(climb(modes).queued_frames.value) == queued
        rungs = f"{100 * ladder / setups:9.1f} %" if len(rates) > 1 else f"{'–':>11}"
        cells = (right, told, wrong)
        shown = "".join(f"{100 * cell / setups:9.1f} %" for cell in cells)
        print(f"{name:38}{shown}{rungs}{1e3 * spent / setups:11.0f}")


def honest_chances(setups):
    print(
        f"\nTruth drawn from the prior, 30 + 60 fps, link and late frames unknown, {setups} setups"
    )
    rng = np.random.default_rng(2)
    prior = QueuePrior()
    queues, log_prior = queues_of(2, prior)
    claims, truths, held = [], [], 0
    for _ in range(setups):
        queue = tuple(rng.choice(queues, p=np.exp(log_prior) / np.exp(log_prior).sum()).tolist())
        fixed_s = rng.uniform(0.0, prior.most_fixed_s)
        (poll_s,) = UNKNOWN[rng.integers(len(UNKNOWN))]
        modes = []
        for fps, k in zip((60, 30), queue, strict=True):
            late = LATE_SHARES[rng.integers(1, LATE_SHARES.size) if rng.random() < 0.5 else 0]
            modes.append(played(fps, k, fixed_s, poll_s, late, rng))
        found = infer_queue(modes, UNKNOWN, prior)
        claims += found.chances
        truths += [listed == queue for listed in found.queues]
        held += found.fixed_ms.low <= 1e3 * fixed_s <= found.fixed_ms.high
    claims, truths = np.array(claims), np.array(truths)
    print(f"{'stated chance':>20}{'sets':>8}{'stated mean':>13}{'true':>8}")
    for low, high in ((0.0, 0.05), (0.05, 0.2), (0.2, 0.5), (0.5, 0.8), (0.8, 0.95), (0.95, 1.01)):
        these = (claims >= low) & (claims < high)
        if these.any():
            row = f"{low:.2f} to {min(high, 1.0):.2f}"
            mean, true = claims[these].mean(), truths[these].mean()
            print(f"{row:>20}{these.sum():8d}{mean:13.3f}{true:8.3f}")
    print(f"95 % interval of the fixed part holds the truth in {100 * held / setups:.1f} %")


if __name__ == "__main__":
    each = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    right_queues(each)
    honest_chances(2 * each)
