"""Measure one take: from the file to its presses, their summary and what a report shows."""

from collections.abc import Generator, Iterator, Mapping
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from threading import Thread

from blinkspan.errors import NothingToMeasure
from blinkspan.footage.processors import usable_processors
from blinkspan.footage.video import OpenTake, open_take
from blinkspan.jobs.film_room import film_room
from blinkspan.jobs.measure_settings import MeasureSettings
from blinkspan.jobs.split_reading import pieces_of
from blinkspan.jobs.take_pictures import TakePictures, take_pictures
from blinkspan.jobs.take_summary import summary_of
from blinkspan.presses.measurement import Measurement, TakeFacts
from blinkspan.presses.measuring import TakePresses, measure_presses
from blinkspan.publish.document import document_of
from blinkspan.publish.parts import TakeDocument
from blinkspan.publish.report import ReportTake
from blinkspan.rig.advice import advice_on, usual_budget
from blinkspan.study.summary import Summary
from blinkspan.traces.proposal import propose_regions
from blinkspan.traces.reduction import Allocate, Reduction, Series
from blinkspan.traces.regions import Regions

# Below these there is no idle time from which to learn what the picture does by itself.
_FEWEST_FRAMES = 30
_SHORTEST_S = 0.25


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a step of the work is; ``of`` is None where that cannot be told."""

    doing: str
    done: int = 0
    of: int | None = None


@dataclass(frozen=True, slots=True)
class MeasuredTake:
    """One take, measured.

    Attributes
    ----------
    net : Summary | None
        Of the net latencies; None where no display lag is known.
    pictures : TakePictures | None
        Where a report was asked for.
    """

    measurement: Measurement
    summary: Summary
    net: Summary | None
    document: TakeDocument
    pictures: TakePictures | None

    @property
    def for_report(self) -> ReportTake:
        """The take as a report needs it."""
        pictures = self.pictures
        return ReportTake(
            self.document,
            self.measurement.lamp_trace,
            self.measurement.response_trace,
            None if pictures is None else pictures.still,
            () if pictures is None else pictures.strips,
        )


def measure_take(
    path: Path,
    settings: MeasureSettings,
    conditions: Mapping[str, str] | None = None,
    *,
    pictures: bool = False,
    threads: int | None = None,
) -> Generator[Progress | MeasuredTake, None, None]:
    """Yield how far the work is, and last the measured take.

    Parameters
    ----------
    path : Path
        The take, which is only read.
    settings : MeasureSettings
        Regions it does not give are proposed from the take, at the cost of another pass.
    conditions : mapping of str to str, optional
        What was held equal in this setup, to be kept in the document.
    pictures : bool
        Whether to fetch the frames that a report shows.
    threads : int, optional
        Processors used to read it; by default all that may be used. More than one
        decode parts of a long take side by side, in processes of their own, or
        frames side by side where it cannot be split.

    Raises
    ------
    UnreadableTake, BadSetting, BadRegion, NothingToMeasure, UnwritableOutput
        Each in one line; nothing is written but an unnamed file for long takes,
        which is gone in any case.
    """
    with open_take(path, settings.capture_rate_hz, threads=threads) as take:
        settings.refuse_beside(take.format, take.clock)
        _refuse_short(take)
        regions = None
        for look in propose_regions(take, settings.lamp, settings.panel, settings.watch):
            if isinstance(look, Regions):
                regions = look
            else:
                yield Progress("looking for the lamp and the screen", look, take.frames)
        assert regions is not None  # the search ends with them
        with film_room() as allocate:
            series = None
            for step in _read(take, regions, allocate, threads):
                if isinstance(step, Series):
                    series = step
                else:
                    yield Progress("reading", step, take.frames)
            assert series is not None  # the reduction ends with it
            yield Progress("measuring")
            with _hashing_aside(take):
                found = measure_presses(series, regions, settings.camera, settings.display)
        measurement = _measurement(take, regions, settings, found)
        summary, net = summary_of(found.presses, settings.display)
        document = document_of(measurement, summary, conditions, net=net)
        fetched = None
        if pictures:
            for shot in take_pictures(take, measurement, document.presses):
                if isinstance(shot, TakePictures):
                    fetched = shot
                else:
                    yield Progress("fetching frames", *shot)
    yield MeasuredTake(measurement, summary, net, document, fetched)


def _read(
    take: OpenTake, regions: Regions, allocate: Allocate, threads: int | None
) -> Iterator[int | Series]:
    """Yield the count of frames read, now and then, and the take's series last."""
    reduction = Reduction(take.format, regions.lamp, regions.watch)
    with closing(pieces_of(take, reduction, threads or usable_processors())) as pieces:
        yield from reduction.joined(pieces, take.clock, allocate)


@contextmanager
def _hashing_aside(take: OpenTake) -> Iterator[None]:
    """Take the file's hash on a processor that measuring leaves idle."""

    def take_hash() -> None:
        with suppress(OSError):  # met again, and told, where the hash is asked for
            _ = take.sha256

    aside = Thread(target=take_hash, daemon=True)
    aside.start()
    yield
    aside.join()


def _refuse_short(take: OpenTake) -> None:
    if take.frames < _FEWEST_FRAMES or take.duration_s < _SHORTEST_S:
        raise NothingToMeasure(
            f"the take holds {take.frames} frames of {take.duration_s:.2f} s in all; film some "
            "seconds with presses well apart, or check --capture-rate"
        )


def facts_of(take: OpenTake) -> TakeFacts:
    """Return what the file of a take itself says."""
    return TakeFacts(
        name=take.name,
        sha256=take.sha256,
        codec=take.codec,
        width_px=take.format.width_px,
        height_px=take.format.height_px,
        bit_depth=take.format.bit_depth,
        frames=take.frames,
        duration_s=take.duration_s,
        rate_hz=float(take.clock.rate_hz),
        rate_source=take.clock.source,
        dropped_frames=take.dropped_frames,
    )


def _measurement(
    take: OpenTake, regions: Regions, settings: MeasureSettings, found: TakePresses
) -> Measurement:
    facts = facts_of(take)
    return Measurement(
        take=facts,
        regions=regions,
        camera=found.camera,
        display=settings.display,
        presses=found.presses,
        unpaired_responses=found.unpaired_responses,
        lamp_trace=found.lamp_trace,
        response_trace=found.response_trace,
        notes=(
            *(_sentence(note) for note in take.notes),
            *settings.notes,
            *found.notes,
            *_what_would_help(take, settings, found),
        ),
    )


def _what_would_help(
    take: OpenTake, settings: MeasureSettings, found: TakePresses
) -> tuple[str, ...]:
    """Say which change of the rig would make a press known best, where one would."""
    budget = usual_budget(found.presses, settings.display)
    if budget is None or found.times_slower is not None:
        return ()
    advice = advice_on(budget, found.camera, take.clock.period_s)
    if not advice:
        return ()
    best = advice[0]
    return (
        f"What would help most on this rig: {best.action} One press would then be known to "
        f"± {1e3 * best.u_then_s:.2f} instead of ± {1e3 * best.u_now_s:.2f} ms.",
    )


def _sentence(note: str) -> str:
    """Return a note on a file as a plain sentence."""
    return f"{note[:1].upper()}{note[1:].rstrip('.')}."
