"""The camera's readout: given, read from the slant of the panel's answer, or budgeted.

In the clock of frames a row of the panel answers later than the one above by
its scan time less the camera's own readout, since both run down the picture.
Where the panel's height and refresh are known its scan time is too
(CTA-861: 0.96 of a refresh from the first to the last active line), and the
readout is what remains. A panel that scans at another speed than its signal
would break this; the doubt carried is 2 % of the scan. A film that is turned for showing has its
shutter run up the picture, or across it, and then nothing tells it. A picture that changes all
at once (a grabbed screen, a panel in global refresh) shows the shutter's slant alone.
A panel lit in pulses at the camera's own pace shows the scan's alone, as a camera without
any readout would: where none is left, it is not told.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from blinkspan.footage.frames import PictureFormat
from blinkspan.onsets.step import Step
from blinkspan.onsets.ticks import Ticks
from blinkspan.profiles import CTA_SCAN_FRACTION, CameraProfile, DisplayProfile, usual_readout
from blinkspan.quantities import Measured, rectangular
from blinkspan.traces.reduction import Series
from blinkspan.traces.regions import Quadrilateral, Rectangle, Regions

_SCAN_DOUBT = 0.02
_AT_ONCE_S = 1e-4  # from top to bottom: so little, and all rows change together
# Of the readout's own doubt: so much wider it is left in the fit, which then reads the slant
# from the panel alone; what is usual is brought in afterwards.
_HARDLY_HELD = 4.0
# Of the panel's height, and of the slant: films moving on a panel show it up to so much too
# small (staged takes).
_MOST_ROWS, _MOVING_DOUBT = 0.5, 0.03


@dataclass(frozen=True, slots=True)
class Readout:
    """How long the sensor takes to read a picture, and where the value came from."""

    whole_s: Measured
    source: str
    picture: PictureFormat

    def until(self, region: Rectangle) -> Measured:
        """Return how much later than the first to be read a region's middle is exposed."""
        return self.whole_s * self._share(region)

    def doubt_between(self, lamp: Rectangle, watch: Rectangle) -> float:
        """Return the standard doubt of the time from one region's exposure to another's.

        Columns of the watched part that are exposed after each other are read together.
        """
        apart = abs(self._share(watch) - self._share(lamp))
        run = abs(self.picture.shutter.right) * watch.width / self.picture.width_px
        return math.hypot(apart * self.whole_s.u, rectangular(run * self.whole_s.value / 2))

    def _share(self, region: Rectangle) -> float:
        shutter = self.picture.shutter
        share = region.middle_column_px / self.picture.width_px
        if shutter.down:
            share = region.middle_row_px / self.picture.height_px
        return share if shutter.down + shutter.right > 0 else 1 - share


def readout_from_slant(
    series: Series,
    regions: Regions,
    camera: CameraProfile,
    display: DisplayProfile,
    step: Step | None,
) -> Readout:
    """Return the readout: given, else what the take tells of it, else what is usual."""
    picture, period = series.picture, series.clock.period_s
    height, down = picture.height_px, picture.shutter.down
    if camera.readout_s is not None:
        return Readout(camera.readout_s, "given", picture)
    usual = usual_readout(period)
    scan = _scan_s_per_px(regions.panel, display.refresh_hz)
    if step is not None and scan is not None and down:
        # Where no scan explains the slant, all rows change at once and the slant is the
        # shutter's alone.
        for pace in (scan, 0.0):
            whole_s = down * (pace - step.slant_s_per_px.value) * height
            u = float(np.hypot(step.slant_s_per_px.u, _SCAN_DOUBT * pace)) * height
            possible = -2 * u <= whole_s <= period + 2 * u
            if pace == scan and possible and whole_s < 2 * u:
                break
            if possible and u < usual.u:
                told = Measured(whole_s, u).weighed_with(usual)
                told = replace(told, value=min(max(told.value, 0.0), period))
                return Readout(told, "from the take", picture)
    return Readout(usual, "assumed", picture)


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
    down = series.picture.shutter.down
    if camera.readout_s is not None:
        return camera.readout_s * (down / height)
    doubt_s = _HARDLY_HELD * period / np.sqrt(12.0)
    return Measured(period / 2, doubt_s) * (down / height)


def _scan_s_per_px(panel: Quadrilateral | None, refresh_hz: float | None) -> float | None:
    if panel is None or refresh_hz is None:
        return None
    return CTA_SCAN_FRACTION / refresh_hz / panel.height_px
