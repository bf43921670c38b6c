"""A study out of the library and into another; its presses as a table for other programs."""

import csv
import io
import json
from collections.abc import Callable
from importlib.metadata import version
from pathlib import Path
from typing import Any

from blinkspan.errors import BadPackage, BadSetting
from blinkspan.library import Library
from blinkspan.library.study_view import COLUMN_KINDS
from blinkspan.publish.data_package import read_package, write_package
from blinkspan.publish.output import write_whole

Columns = dict[str, list[Any]]


def export_study(library: Path, study: str, folder: Path) -> int:
    """Return how many presses were written, after writing a study as a data package."""
    with Library.open(library) as opened:
        tables = opened.tables(study)
    write_package(folder, tables, study, f"blinkspan {version('blinkspan')}")
    return len(tables["press"])


def import_study(library: Path, folder: Path) -> str:
    """Return the name of the study of a data package, after keeping it: wholly or not at all."""
    tables = read_package(folder)
    with Library.open(library) as opened:
        return opened.bring(tables)


def validate(folder: Path) -> list[str]:
    """Return what an independent reader of data packages finds wrong, one line each.

    Raises
    ------
    BadSetting
        That reader, the frictionless library, is not installed.
    BadPackage
        There is no package to read.
    """
    try:
        import frictionless
    except ImportError as missing:
        raise BadSetting(
            "the frictionless library is not installed; install blinkspan[exchange]"
        ) from missing
    descriptor = folder / "datapackage.json"
    if not descriptor.is_file():
        raise BadPackage(f"{folder} holds no datapackage.json; name the folder of a data package")
    report = frictionless.validate(str(descriptor))
    found = [("package", error.message) for error in report.errors]
    found += [(task.name, error.message) for task in report.tasks for error in task.errors]
    return [" ".join(f"{table}: {message}".split()) for table, message in found]


def write_presses(library: Path, study: str, target: Path) -> int:
    """Return how many presses as they stand were written, with their setups' conditions.

    Parameters
    ----------
    target : Path
        Its ending chooses the form: .csv, .json or .parquet.

    Raises
    ------
    BadSetting
        Another ending, or Parquet where pyarrow is not installed.
    """
    form = _FORMS.get(target.suffix.lower())
    if form is None:
        raise BadSetting(f"{target.name} ends in no known form; use {', '.join(_FORMS)}")
    with Library.open(library) as opened:
        columns = opened.study(study).columns()
    write_whole(target, form(columns))
    return len(columns["press_id"])


def _csv(columns: Columns) -> bytes:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(columns)
    writer.writerows(zip(*columns.values(), strict=True))
    return text.getvalue().encode()


def _json(columns: Columns) -> bytes:
    rows = [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]
    return json.dumps(rows, ensure_ascii=False, allow_nan=False, indent=1).encode() + b"\n"


def _parquet(columns: Columns) -> bytes:
    try:
        import pyarrow
        from pyarrow import parquet
    except ImportError as missing:
        raise BadSetting(
            "Parquet needs the pyarrow library; install blinkspan[exchange] or write .csv"
        ) from missing
    kinds = {str: pyarrow.string(), float: pyarrow.float64(), int: pyarrow.int64()}
    kinds[bool] = pyarrow.bool_()
    schema = pyarrow.schema([(name, kinds[COLUMN_KINDS[name]]) for name in columns])
    target = io.BytesIO()
    parquet.write_table(pyarrow.table(columns, schema=schema), target)
    return target.getvalue()


_FORMS: dict[str, Callable[[Columns], bytes]] = {
    ".csv": _csv,
    ".json": _json,
    ".parquet": _parquet,
}
