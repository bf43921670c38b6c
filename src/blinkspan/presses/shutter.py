"""The camera's readout: given, read from the slant of the panel's answer, or budgeted.

In the clock of frames a row of the panel answers later than the one above by
its scan time less the camera's own readout, since both run down the picture.
Where the panel's height and refresh are known its scan time is too
(CTA-861: 0.96 of a refresh from the first to the last active line), and the
readout is what remains. A panel that scans at another speed than its signal
would break this; the doubt carried is 2 % of the scan. A picture that changes all
at once (a grabbed screen, a panel in global refresh) shows the shutter's slant alone.
A panel lit in pulses at the camera's own pace shows the scan's alone, as a camera without
any readout would: where none is left, it is not told.
"""

from dataclasses import dataclass

import numpy as np

from blinkspan.onsets.step import Step
from blinkspan.onsets.ticks import Ticks
from blinkspan.profiles import CTA_SCAN_FRACTION, CameraProfile, DisplayProfile
from blinkspan.quantities import Measured
from blinkspan.traces.reduction import Series
from blinkspan.traces.regions import Quadrilateral, Regions

_SCAN_DOUBT = 0.02
_AT_ONCE_S = 1e-4  # from top to bottom: so little, and all rows change together
# Of the readout's own doubt: so much wider it is left in the fit, which then reads the slant
# from the panel alone; that a readout lies between nothing and a frame is brought in afterwards.
_HARDLY_HELD = 4.0
# Of the panel's height, and of the slant: films moving on a panel show it up to so much too
# small (staged takes).
_MOST_ROWS, _MOVING_DOUBT = 0.5, 0.03


@dataclass(frozen=True, slots=True)
class Readout:
    """Seconds from one row's start to the next row's, and where the value came from."""

    row_s: float
    u_row_s: float
    source: str

    def until(self, row_px: float) -> Measured:
        """Return how much later than the first row a row's exposure starts."""
        return Measured(row_px * self.row_s, row_px * self.u_row_s)


def readout_from_slant(
    series: Series,
    regions: Regions,
    camera: CameraProfile,
    display: DisplayProfile,
    step: Step | None,
) -> Readout:
    """Return the readout time a row: given, else from the take, else assumed with its range."""
    height, period = series.picture.height_px, series.clock.period_s
    if camera.readout_s is not None:
        return Readout(camera.readout_s.value / height, camera.readout_s.u / height, "given")
    scan = _scan_s_per_px(regions.panel, display.refresh_hz)
    if step is not None and scan is not None:
        # Where no scan explains the slant, all rows change at once and the slant is the
        # shutter's alone.
        for pace in (scan, 0.0):
            row_s = pace - step.slant_s_per_px.value
            u = float(np.hypot(step.slant_s_per_px.u, _SCAN_DOUBT * pace))
            possible = -2 * u * height <= row_s * height <= period + 2 * u * height
            if pace == scan and possible and row_s < 2 * u:
                break
            if possible and u * height < period / np.sqrt(12.0):
                return Readout(float(np.clip(row_s, 0.0, period / height)), u, "from the take")
    return Readout(period / 2 / height, period / np.sqrt(12.0) / height, "assumed")


def slants_to_try(
    series: Series,
    regions: Regions,
    camera: CameraProfile,
    display: DisplayProfile,
    ticks: Ticks | None = None,
) -> list[Measured]:
    """Return what the slant may be, seconds a pixel, as far as camera and display are known.

    ``ticks`` are the panel's, where all that moves in the take shows them: over most of the
    panel's rows, that tells their slant better than the answers do.
    """
    if (
        ticks is not None
        and camera.readout_s is None
        and regions.panel is not None
        and ticks.reach_px > _MOST_ROWS * regions.panel.height_px
    ):
        slant = ticks.slant_s_per_px
        return [Measured(slant.value, float(np.hypot(slant.u, _MOVING_DOUBT * slant.value)))]
    row = _row_s(series, camera)
    rates = [display.refresh_hz] if display.refresh_hz is not None else [60.0, 120.0]
    if regions.panel is not None:
        scans = [CTA_SCAN_FRACTION / rate / regions.panel.height_px for rate in rates]
        return [Measured(scan, _SCAN_DOUBT * scan) - row for scan in scans]
    # Without the panel's height, the watched part is taken as somewhat smaller than it.
    scans = [CTA_SCAN_FRACTION / rate / (1.5 * regions.watch.height) for rate in rates]
    return [Measured(scan, 0.5 * scan) - row for scan in [*scans, 0.3 * scans[0]]]


def slant_at_once(series: Series, regions: Regions, camera: CameraProfile) -> Measured:
    """Return what the slant is, seconds a pixel, where all rows of a panel change at once."""
    rows_px = regions.watch.height if regions.panel is None else regions.panel.height_px
    slack = Measured(0.0, _AT_ONCE_S / rows_px)
    return slack - _row_s(series, camera)


def _row_s(series: Series, camera: CameraProfile) -> Measured:
    """Return the readout from row to row as the fit may hold it."""
    height, period = series.picture.height_px, series.clock.period_s
    if camera.readout_s is not None:
        return camera.readout_s * (1 / height)
    return Measured(period / 2 / height, _HARDLY_HELD * period / np.sqrt(12.0) / height)


def _scan_s_per_px(panel: Quadrilateral | None, refresh_hz: float | None) -> float | None:
    if panel is None or refresh_hz is None:
        return None
    return CTA_SCAN_FRACTION / refresh_hz / panel.height_px
