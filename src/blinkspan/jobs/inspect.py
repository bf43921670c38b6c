"""Inspect a take: what the program sees of the rig before anything is measured."""

from collections.abc import Generator
from contextlib import closing
from pathlib import Path

from blinkspan.errors import NothingToMeasure
from blinkspan.footage.processors import usable_processors
from blinkspan.footage.video import OpenTake, open_take
from blinkspan.jobs.film_room import film_room
from blinkspan.jobs.measure import Progress, facts_of
from blinkspan.jobs.measure_settings import MeasureSettings
from blinkspan.jobs.split_reading import pieces_of
from blinkspan.presses.measuring import TakePresses, measure_presses
from blinkspan.rig.inspecting import inspected
from blinkspan.rig.inspection import Inspection
from blinkspan.traces.proposal import find_panel, propose_regions
from blinkspan.traces.reduction import Allocate, Reduction, Series
from blinkspan.traces.regions import Quadrilateral, Rectangle, Regions
from blinkspan.traces.survey import Survey, survey_take

_CORNER = Rectangle(0, 0, 8, 8)  # stands for the lamp where there is none


def inspect_take(
    path: Path, settings: MeasureSettings, *, threads: int | None = None
) -> Generator[Progress | Inspection, None, None]:
    """Yield how far the work is, and last what is seen of the rig.

    Parameters
    ----------
    path : Path
        The take, which is only read.
    settings : MeasureSettings
        Regions it does not give are looked for; a take without a lamp or a panel
        is inspected as far as can be.
    threads : int, optional
        Processors used to read it; by default all that may be used.

    Raises
    ------
    UnreadableTake, BadSetting, BadRegion, UnwritableOutput
        Each in one line.
    """
    with open_take(path, settings.capture_rate_hz, threads=threads) as take:
        settings.refuse_beside(take.format, take.clock)
        regions, panel, why_no_lamp = None, settings.panel, None
        try:
            for look in propose_regions(take, settings.lamp, settings.panel, settings.watch):
                if isinstance(look, Regions):
                    regions, panel = look, look.panel
                else:
                    yield Progress("looking for the lamp and the screen", look, take.frames)
        except NothingToMeasure as nothing:
            why_no_lamp = str(nothing)
        if regions is None and panel is None:
            for step in survey_take(take, None):
                if isinstance(step, Survey):
                    panel = find_panel(step)
                else:
                    yield Progress("looking for the screen", step, take.frames)
        with film_room() as allocate:
            found: TakePresses | None = None
            lamp_series: Series | None = None
            if regions is not None:
                for part in _read(take, regions.lamp, regions.watch, allocate, threads):
                    if isinstance(part, Series):
                        lamp_series = part
                    else:
                        yield Progress("reading the lamp", part, take.frames)
                assert lamp_series is not None  # the reduction ends with it
                try:
                    found = measure_presses(lamp_series, regions, settings.camera, settings.display)
                except NothingToMeasure as nothing:
                    why_no_lamp = str(nothing)
            whole = _whole(take, panel)
            lamp = _CORNER if regions is None else regions.lamp
            whole_series: Series | None = None
            for part in _read(take, lamp, whole, allocate, threads):
                if isinstance(part, Series):
                    whole_series = part
                else:
                    yield Progress("reading the screen", part, take.frames)
            assert whole_series is not None  # the reduction ends with it
            yield Progress("inspecting")
            inspection = inspected(
                facts_of(take),
                whole_series,
                regions,
                panel,
                found,
                settings.display,
                why_no_lamp,
            )
    yield inspection


def _whole(take: OpenTake, panel: Quadrilateral | None) -> Rectangle:
    """Return the panel's box inside the picture, or all of the picture where no panel is known."""
    width, height = take.format.width_px, take.format.height_px
    if panel is None:
        return Rectangle(0, 0, width, height)
    box = panel.bounding_box()
    left, top = max(0, box.x), max(0, box.y)
    right, bottom = min(width, box.x + box.width), min(height, box.y + box.height)
    return Rectangle(left, top, right - left, bottom - top)


def _read(
    take: OpenTake, lamp: Rectangle, watch: Rectangle, allocate: Allocate, threads: int | None
) -> Generator[int | Series, None, None]:
    reduction = Reduction(take.format, lamp, watch)
    with closing(pieces_of(take, reduction, threads or usable_processors())) as pieces:
        yield from reduction.joined(pieces, take.clock, allocate)
