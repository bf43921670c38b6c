"""A made-up take of fifteen presses for the publishing tests: known numbers, drawn pictures."""

import numpy as np
import numpy.typing as npt
import pytest

from blinkspan.footage.frames import PictureFormat, TransferCurve
from blinkspan.presses.measurement import CameraFindings, Measurement, TakeFacts
from blinkspan.presses.press import Press, Reason, Verdict
from blinkspan.profiles import DisplayProfile
from blinkspan.publish.document import document_of, summary_part
from blinkspan.publish.pictures import jpeg
from blinkspan.publish.report import ReportSetup, ReportTake
from blinkspan.publish.strips import (
    PressStrip,
    StripFrame,
    frames_around,
    lamp_view,
    response_view,
    strip_frame,
)
from blinkspan.quantities import Budget, Estimate, Measured, Term
from blinkspan.study.summary import Summary
from blinkspan.traces.regions import Quadrilateral, Rectangle, Regions
from blinkspan.traces.trace import Trace

RATE_HZ = 240.0
SIZE = (360, 640)
LAMP = Rectangle(70, 300, 24, 20)
PANEL = Quadrilateral(((176.0, 34.0), (601.0, 43.0), (597.0, 287.0), (171.0, 276.0)))
WATCH = Rectangle(320, 120, 130, 90)
FORMAT = PictureFormat(640, 360, 8, False, TransferCurve.BT709)
CONDITIONS = {
    "console": "console A",
    "title": "Lantern Quay",
    "mode": "60 frames a second",
    "action": "fire",
    "link": "cable",
}


def summary_of(spans_ms: list[float], doubtful: int, rejected: int) -> Summary:
    """Return a summary by plain order statistics; its interval is only a stand-in."""
    if not spans_ms:
        return Summary(0, doubtful, rejected, None, None, None, None, None, None, None)
    low_q, median, high_q = (float(q) for q in np.percentile(spans_ms, (25, 50, 75)))
    interval = (low_q - 0.8, high_q + 0.8)
    period = 1e3 / 60
    return Summary(
        n=len(spans_ms),
        doubtful=doubtful,
        rejected=rejected,
        median_ms=Estimate(median, *interval, 0.95, "order statistics"),
        low_ms=min(spans_ms),
        high_ms=max(spans_ms),
        lower_quartile_ms=low_q,
        upper_quartile_ms=high_q,
        spread_ms=float(np.std(spans_ms, ddof=1)) if len(spans_ms) > 1 else None,
        median_game_frames=Estimate(
            median / period, interval[0] / period, interval[1] / period, 0.95, "order statistics"
        ),
    )


def measurement_of(
    base_ms: float = 78.0, seed: int = 3, name: str = "quay.mp4"
) -> tuple[Measurement, Summary]:
    """Return fifteen presses: twelve accepted, two doubtful, one rejected; the lag is known."""
    rng = np.random.default_rng(seed)
    lag = Measured(0.0213, 0.0009)
    presses = []
    for number in range(1, 16):
        on = 0.6 + 0.93 * (number - 1) + float(rng.uniform(0, 0.05))
        span = (base_ms + float(rng.uniform(0, 16.7))) / 1e3
        terms = (
            Term("lamp onset", 0.00028),
            Term("response onset", 0.00061),
            Term("rolling shutter", 0.00022, shared=True),
            Term("scan row", 0.00012, shared=True),
            Term("camera clock", 0.00002, shared=True),
        )
        budget = Budget(terms)
        verdict, reason = Verdict.ACCEPTED, None
        if number == 4:
            verdict, reason = Verdict.DOUBTFUL, Reason.TWO_CANDIDATES
        if number == 9:
            verdict, reason = Verdict.REJECTED, Reason.NO_RESPONSE
        if number == 13:
            verdict, reason = Verdict.DOUBTFUL, Reason.WEAK_RESPONSE
        answered = reason is not Reason.NO_RESPONSE
        measured = Measured(span, budget.u_s)
        presses.append(
            Press(
                number=number,
                lamp_on=Measured(on, 0.00028),
                lamp_off=Measured(on + 0.11, 0.0003) if number < 15 else None,
                response=Measured(on + span, 0.00061) if answered else None,
                response_row_px=WATCH.middle_row_px if answered else None,
                span=measured if answered else None,
                net=measured - lag if answered else None,
                budget=budget if answered else Budget(terms[:1]),
                verdict=verdict,
                reason=reason,
            )
        )
    frames = round(14.6 * RATE_HZ)
    measurement = Measurement(
        take=TakeFacts(
            name=name,
            sha256="5f" * 32,
            codec="h264",
            width_px=640,
            height_px=360,
            bit_depth=8,
            frames=frames,
            duration_s=frames / RATE_HZ,
            rate_hz=RATE_HZ,
            rate_source="container",
            dropped_frames=0,
        ),
        regions=Regions(LAMP, PANEL, WATCH, proposed=("panel", "watch")),
        camera=CameraFindings(
            Measured(1 / 480, 0.00009), "from the take", Measured(0.0031, 0.0009), "assumed"
        ),
        display=DisplayProfile(lag_s=lag, refresh_hz=59.94, game_rate_hz=60.0),
        presses=tuple(presses),
        unpaired_responses=(Measured(7.5132, 0.0008),),
        lamp_trace=_steps([(p.lamp_on.value, p.lamp_on.value + 0.11) for p in presses], frames, 1),
        response_trace=_steps(
            [(p.response.value, p.response.value + 0.25) for p in presses if p.response],
            frames,
            2,
        ),
        notes=("The readout time was not given; its whole likely range is in the budget.",),
    )
    good = [1e3 * p.span.value for p in presses if p.span and p.verdict is Verdict.ACCEPTED]
    return measurement, summary_of(good, 2, 1)


def _steps(lit: list[tuple[float, float]], frames: int, seed: int) -> Trace:
    """Return a trace that is 1 inside each interval, with soft edges and a little noise."""
    at = np.arange(frames) / RATE_HZ
    values = np.zeros(frames)
    for on, off in lit:
        values += np.clip((at + 1 / 480 - on) * 480, 0, 1) * np.exp(
            -np.maximum(0.0, at - off) * 300
        )
    values += np.random.default_rng(seed).normal(0, 0.012, frames)
    return Trace(values, at)


def picture(lit: bool, fired: bool) -> npt.NDArray[np.uint8]:
    """Return a drawn luma plane, limited range: a dim room, a panel with a scene, a lamp."""
    rng = np.random.default_rng(5)
    rows, columns = np.mgrid[0 : SIZE[0], 0 : SIZE[1]].astype(float)
    image = 30 + 14 * np.sin(rows / 90) + 10 * np.cos(columns / 140)
    panel = (columns > 176) & (columns < 598) & (rows > 38) & (rows < 282)
    sky = 190 - 0.35 * rows + 8 * np.sin(columns / 25)
    hills = rows > 170 + 22 * np.sin(columns / 47) + 11 * np.sin(columns / 17)
    scene = np.where(hills, 88 + 12 * np.sin(columns / 9) * np.cos(rows / 7), sky)
    image = np.where(panel, scene, image)
    image = np.where((abs(columns - 400) < 22) & (abs(rows - 220) < 40) & panel, 58.0, image)
    if fired:
        flash = np.exp(-((columns - 385) ** 2 + (rows - 165) ** 2) / 420)
        image = np.where(panel, image + 130 * flash, image)
    image = np.where((rows > 320) & (columns < 260) & (columns > 30), 70.0, image)
    glow = np.exp(-((columns - 82) ** 2 + (rows - 310) ** 2) / 46)
    image = image + (170 if lit else 12) * glow
    return np.clip(image + rng.normal(0, 2.5, image.shape), 16, 235).astype(np.uint8)


def report_take(
    base_ms: float = 78.0, seed: int = 3, name: str = "quay.mp4"
) -> tuple[ReportTake, Summary]:
    """Return a whole take for a report, every press with its strip."""
    measurement, summary = measurement_of(base_ms, seed, name)
    document = document_of(measurement, summary, CONDITIONS)
    pictures = {
        (lit, shown): picture(lit, shown) for lit in (False, True) for shown in (False, True)
    }
    lamp, response = measurement.lamp_trace, measurement.response_trace

    def frames(trace: Trace, at_s: float | None, view: Rectangle) -> tuple[StripFrame, ...]:
        if at_s is None:
            return ()
        return tuple(
            strip_frame(
                i,
                float(trace.start_s[i]),
                pictures[bool(lamp.values[i] > 0.5), bool(response.values[i] > 0.5)],
                FORMAT,
                view,
            )
            for i in frames_around(trace, at_s)
        )

    regions = measurement.regions
    strips = tuple(
        PressStrip(
            p.number,
            frames(lamp, p.lamp_on_s, lamp_view(regions, FORMAT)),
            frames(response, p.response_s, response_view(regions, FORMAT)),
        )
        for p in document.presses
    )
    return ReportTake(document, lamp, response, jpeg(pictures[True, True], FORMAT), strips), summary


@pytest.fixture
def measured():
    """Return a measurement and its summary."""
    return measurement_of()


@pytest.fixture
def document():
    """Return the document of that measurement, under some conditions."""
    return document_of(*measurement_of(), CONDITIONS)


@pytest.fixture(scope="session")
def setup():
    """Return one setup ready for a report."""
    take, summary = report_take()
    return ReportSetup("Console A, 60 frames a second", summary_part(summary), (take,))
