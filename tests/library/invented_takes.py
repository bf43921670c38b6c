"""Invented clips, measurements and conditions; the real measuring has tests of its own."""

import hashlib
from pathlib import Path

import numpy as np

from blinkspan.presses.measurement import CameraFindings, Measurement, TakeFacts
from blinkspan.presses.press import Press, Reason, Verdict
from blinkspan.profiles import DisplayProfile
from blinkspan.quantities import Budget, Measured, Term
from blinkspan.study.setup import Conditions, Setup, Study
from blinkspan.traces.regions import Quadrilateral, Rectangle, Regions
from blinkspan.traces.trace import Trace

LAG_STUDY = Study("harbour at night", "Does the patch help?")
LAG_SETUP = Setup(
    "Corvid 60 wired",
    Conditions(
        platform="Corvid",
        title="Lantern Row",
        build="1.2",
        mode="performance 60",
        action="jump",
        spot="first pier, facing the mast",
        link="wired",
        picture_mode="game",
    ),
    tags=("winter round",),
)


def write_clip(path: Path, seed: int, size: int = 2000) -> Path:
    """Return the path of a file of invented bytes."""
    path.write_bytes(np.random.default_rng(seed).bytes(size))
    return path


def measured_take(path: Path, seed: int = 1, presses: int = 4, rate_hz: float = 240.0):
    """Return an invented measurement that carries the true hash of a file."""
    rng = np.random.default_rng(seed)
    n = int((presses + 1) * rate_hz / 4)
    start_s = np.arange(n) / rate_hz
    on_s = 0.1 + 0.2 * np.arange(presses)
    found = []
    for number, at_s in enumerate(on_s, start=1):
        span = Measured(float(rng.normal(0.070, 0.006)), 0.0011)
        found.append(
            Press(
                number=number,
                lamp_on=Measured(float(at_s), 0.0004),
                lamp_off=Measured(float(at_s) + 0.05, 0.0004),
                response=Measured(float(at_s) + span.value + 0.001, 0.001),
                response_row_px=180.0,
                span=span,
                net=Measured(span.value - 0.012, 0.0013),
                budget=Budget(
                    (
                        Term("lamp onset", 0.0004),
                        Term("response onset", 0.001, shared=False),
                        Term("rolling shutter", 0.0002, shared=True),
                    )
                ),
                verdict=Verdict.ACCEPTED if number % 4 else Verdict.DOUBTFUL,
                reason=None if number % 4 else Reason.WEAK_RESPONSE,
            )
        )
    return Measurement(
        take=TakeFacts(
            name=path.name,
            sha256=hashlib.sha256(path.read_bytes()).hexdigest(),
            codec="h264",
            width_px=640,
            height_px=360,
            bit_depth=8,
            frames=n,
            duration_s=n / rate_hz,
            rate_hz=rate_hz,
            rate_source="container",
            dropped_frames=0,
        ),
        regions=Regions(
            Rectangle(20, 30, 12, 12),
            Quadrilateral(((100.0, 40.0), (600.5, 42.0), (598.0, 330.0), (101.0, 331.0))),
            Rectangle(300, 120, 80, 60),
            ("panel", "watch"),
        ),
        camera=CameraFindings(
            Measured(1 / 480, 0.0001), "from the take", Measured(0.003, 0.0005), "assumed"
        ),
        display=DisplayProfile(Measured(0.012, 0.0007), 60.0, 60.0),
        presses=tuple(found),
        unpaired_responses=(Measured(0.02, 0.002),),
        lamp_trace=Trace(rng.random(n), start_s + 0.0001),
        response_trace=Trace(rng.random(n), start_s + 0.0015),
        notes=("The lamp flickers a little.",),
    )
