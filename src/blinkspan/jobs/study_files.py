"""A study as one file to take away: its report, its presses as a table, or all that is kept."""

import io
import tempfile
import zipfile
from collections.abc import Sequence
from itertools import groupby
from pathlib import Path

from blinkspan.errors import NothingToMeasure, NotInLibrary
from blinkspan.footage.video import open_take
from blinkspan.jobs.exchange import export_study, write_presses
from blinkspan.jobs.study_takes import MeasuredStudy, StudyTake, summed_up
from blinkspan.jobs.take_pictures import TakePictures, take_pictures
from blinkspan.library import Library
from blinkspan.presses.measurement import Measurement
from blinkspan.publish.document import summary_part
from blinkspan.publish.report import ReportSetup, ReportTake, report_html

TABLES = ("csv", "json", "parquet")


def press_table(library: Path, study: str, form: str) -> bytes:
    """Return the presses of a study as they stand, as ``csv``, ``json`` or ``parquet``."""
    with tempfile.TemporaryDirectory(prefix="blinkspan-") as folder:
        target = Path(folder) / f"presses.{form}"
        write_presses(library, study, target)
        return target.read_bytes()


def package_zip(library: Path, study: str) -> bytes:
    """Return everything kept under a study as a data package, in one ZIP file."""
    with tempfile.TemporaryDirectory(prefix="blinkspan-") as folder:
        package = Path(folder) / "package"
        export_study(library, study, package)
        packed = io.BytesIO()
        with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
            for file in sorted(package.rglob("*")):
                if file.is_file():
                    archive.write(file, file.relative_to(package))
        return packed.getvalue()


def study_report(
    library: Path, study: MeasuredStudy, setups: Sequence[int], *, frames: bool
) -> bytes:
    """Return the report of some setups of a study as one HTML page.

    Parameters
    ----------
    frames : bool
        Whether to show frames of the presses that are worth it, which have to be
        decoded again; a take whose clip is not at hand goes without.

    Raises
    ------
    NothingToMeasure
        None of the setups holds an accepted press.
    """
    takes = study.of(setups)
    summaries, notes = summed_up(takes)
    if not summaries:
        raise NothingToMeasure("no setup of this choice has an accepted press to report on")
    remarks = [remark for remark in (study.kept.study.question, *notes) if remark]
    with Library.open(library) as opened:
        report_setups = [
            ReportSetup(
                summaries[setup_id].sample.name,
                summary_part(summaries[setup_id].summary),
                tuple(_report_take(opened, take, frames=frames) for take in of_setup),
            )
            for setup_id, of_setup in groupby(takes, lambda take: take.setup.id)
        ]
    return report_html(study.kept.study.name, report_setups, remarks)


def _report_take(library: Library, take: StudyTake, *, frames: bool) -> ReportTake:
    assert take.run is not None  # only measured takes are chosen
    assert take.source is not None
    found = library.measurement(take.run)
    if found is None:
        raise NotInLibrary(
            f"the traces of {take.take.name} are not at hand; measure it again, then report"
        )
    pictures = _pictures(library, take, found) if frames else None
    return ReportTake(
        take.source.document,
        found.lamp_trace,
        found.response_trace,
        None if pictures is None else pictures.still,
        () if pictures is None else pictures.strips,
    )


def _pictures(library: Library, take: StudyTake, found: Measurement) -> TakePictures | None:
    assert take.run is not None
    assert take.source is not None
    try:
        clip = library.clip(take.take)
    except NotInLibrary:
        return None
    if not clip.is_file():
        return None
    with open_take(clip, take.run.parameters.get("capture_rate_hz")) as opened:
        for step in take_pictures(opened, found, take.source.document.presses):
            if isinstance(step, TakePictures):
                return step
    return None
