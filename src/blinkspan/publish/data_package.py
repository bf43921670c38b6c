"""A study as a Frictionless Data Package: datapackage.json and one CSV a table.

Nothing is rounded and nothing is left out, so that a package can be read back
whole. Reading takes a package for what it is, a stranger's file: fixed names
inside the folder, hashes, types, keys and references are all held to the
schema before anything is handed on.

References
----------
Frictionless Data, "Data Package", "Tabular Data Resource", "Table Schema".
RFC 4180 for the CSV.
"""

import csv
import hashlib
import io
import json
import math
import shutil
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from itertools import zip_longest
from pathlib import Path
from typing import Any

from blinkspan.errors import BadPackage, UnwritableOutput
from blinkspan.publish.package_tables import TABLES, Column, Kind, TableSchema

FORMAT = "blinkspan-study/1"
_DESCRIPTOR = "datapackage.json"
_LONGEST_CELL = 10_000_000  # far above any cell of ours; the csv module's own guard is too low

Rows = Sequence[Mapping[str, Any]]


def write_package(folder: Path, tables: Mapping[str, Rows], title: str, program: str) -> None:
    """Write a study's tables as a package, whole or not at all.

    Parameters
    ----------
    folder : Path
        Not there yet.
    tables : mapping of table name to rows
        Every table of ``package_tables``; a row maps column to value.

    Raises
    ------
    UnwritableOutput
        The folder is there already, or cannot be written.
    """
    if folder.exists():
        raise UnwritableOutput(f"{folder} is there already; name a new folder for the package")
    part = folder.with_name(f"{folder.name}.part")
    try:
        shutil.rmtree(part, ignore_errors=True)
        (part / "data").mkdir(parents=True)
        resources = [_write_table(part, schema, tables[schema.name]) for schema in TABLES]
        descriptor = {
            "profile": "data-package",
            "name": "blinkspan-study",
            "title": title,
            "created": datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
            "blinkspan": {"format": FORMAT, "program": program},
            "resources": resources,
        }
        text = json.dumps(descriptor, indent=2, ensure_ascii=False) + "\n"
        (part / _DESCRIPTOR).write_text(text, encoding="utf-8")
        part.rename(folder)
    except OSError as error:
        raise UnwritableOutput(
            f"the package could not be written to {folder} ({error.strerror}); "
            "free some space or choose another place"
        ) from error
    finally:
        shutil.rmtree(part, ignore_errors=True)


def read_package(folder: Path) -> dict[str, list[dict[str, Any]]]:
    """Return the rows of every table of a package, held to its schema.

    Raises
    ------
    BadPackage
        It is no package of ours, incomplete, changed, or breaks its schema.
    """
    folder = folder.parent if folder.name == _DESCRIPTOR else folder
    described = _described(folder)
    tables = {}
    for schema in TABLES:
        resource = described.get(schema.name)
        if resource is None:
            raise BadPackage(f"{folder} has no table {schema.name!r}; export the study anew")
        _require_fields(schema, resource)
        tables[schema.name] = _read_table(folder, schema, str(resource.get("hash", "")))
    for schema in TABLES:
        _require_keys(schema, tables)
    return tables


def _write_table(part: Path, schema: TableSchema, rows: Rows) -> dict[str, Any]:
    path = part / "data" / f"{schema.name}.csv"
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\r\n")
        writer.writerow(column.name for column in schema.columns)
        for row in rows:
            writer.writerow(_to_cell(column, row[column.name]) for column in schema.columns)
    content = path.read_bytes()
    return {
        "profile": "tabular-data-resource",
        "name": schema.name,
        "title": schema.words,
        "path": f"data/{schema.name}.csv",
        "scheme": "file",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": len(content),
        "hash": f"sha256:{hashlib.sha256(content).hexdigest()}",
        "schema": _table_schema(schema),
    }


def _table_schema(schema: TableSchema) -> dict[str, Any]:
    described: dict[str, Any] = {
        "fields": [_field(column) for column in schema.columns],
        "primaryKey": [schema.key],
        "missingValues": [""],
    }
    if schema.refers:
        described["foreignKeys"] = [
            {
                "fields": [column],
                "reference": {"resource": "" if to == schema.name else to, "fields": [key]},
            }
            for column, to, key in schema.refers
        ]
    return described


def _field(column: Column) -> dict[str, Any]:
    described: dict[str, Any] = {
        "name": column.name,
        "type": column.kind.value,
        "description": column.words,
    }
    # an empty text is a value of its own, but reads as missing to every other program
    if not column.nullable and column.kind is not Kind.STRING:
        described["constraints"] = {"required": True}
    return described


def _to_cell(column: Column, value: Any) -> str:
    if value is None:
        return ""
    if column.kind is Kind.NUMBER:
        return repr(float(value))
    if column.kind is Kind.DATETIME:
        moment: datetime = value
        return moment.astimezone(UTC).isoformat().replace("+00:00", "Z")
    if column.kind in (Kind.ARRAY, Kind.OBJECT):
        return json.dumps(value, ensure_ascii=False, separators=(",", ":"), sort_keys=True)
    return str(value)


def _finite(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(text)
    return value


def _json(kind: type) -> Callable[[str], Any]:
    def read(text: str) -> Any:
        # a constant is NaN or an infinity, which no value of ours is
        value = json.loads(text, parse_constant=_finite)
        if not isinstance(value, kind):
            raise ValueError(text)
        return value

    return read


_FROM_CELL: dict[Kind, Callable[[str], Any]] = {
    Kind.STRING: str,
    Kind.NUMBER: _finite,
    Kind.INTEGER: int,
    Kind.DATETIME: lambda text: datetime.fromisoformat(text).astimezone(UTC),
    Kind.ARRAY: _json(list),
    Kind.OBJECT: _json(dict),
}


def _described(folder: Path) -> dict[str, dict[str, Any]]:
    try:
        descriptor = json.loads((folder / _DESCRIPTOR).read_text(encoding="utf-8"))
    except OSError as error:
        raise BadPackage(
            f"{folder} holds no {_DESCRIPTOR} that can be read ({error.strerror}); "
            "name the folder of a data package"
        ) from error
    except ValueError as error:
        raise BadPackage(f"{folder / _DESCRIPTOR} is not JSON ({error}); export anew") from error
    try:
        said = descriptor["blinkspan"]["format"]
        described = {resource["name"]: resource for resource in descriptor["resources"]}
    except (KeyError, TypeError) as error:
        raise BadPackage(
            f"{folder / _DESCRIPTOR} is no package of blinkspan; export the study with blinkspan"
        ) from error
    if said != FORMAT:
        raise BadPackage(
            f"the package has the format {str(said)[:40]!r}, this program reads {FORMAT!r}; "
            "use the blinkspan that wrote it"
        )
    return described


def _require_fields(schema: TableSchema, resource: Mapping[str, Any]) -> None:
    try:
        said = [(field["name"], field["type"]) for field in resource["schema"]["fields"]]
    except (KeyError, TypeError) as error:
        raise BadPackage(
            f"the table {schema.name!r} of the package has no schema; export the study anew"
        ) from error
    wanted = [(column.name, column.kind.value) for column in schema.columns]
    if said != wanted:
        names = (a[0] for a, b in zip_longest(wanted, said) if a != b and a is not None)
        raise BadPackage(
            f"the schema of the table {schema.name!r} differs at {next(names, 'its end')!r}; "
            "export the study anew"
        )


def _read_table(folder: Path, schema: TableSchema, hashed: str) -> list[dict[str, Any]]:
    path = folder / "data" / f"{schema.name}.csv"
    try:
        content = path.read_bytes()
    except OSError as error:
        raise BadPackage(f"{path} cannot be read ({error.strerror}); export anew") from error
    if hashed != f"sha256:{hashlib.sha256(content).hexdigest()}":
        raise BadPackage(f"{path} was changed since it was written; export the study anew")
    csv.field_size_limit(_LONGEST_CELL)
    try:
        lines = csv.reader(io.StringIO(content.decode("utf-8"), newline=""), strict=True)
        head = next(lines, [])
        if head != [column.name for column in schema.columns]:
            raise BadPackage(f"{path} has not the columns of its schema; export the study anew")
        return [_row(path, schema, line, lines.line_num) for line in lines]
    except (csv.Error, UnicodeDecodeError) as error:
        raise BadPackage(f"{path} is not CSV in UTF-8 ({error}); export the study anew") from error


def _row(path: Path, schema: TableSchema, line: list[str], number: int) -> dict[str, Any]:
    if len(line) != len(schema.columns):
        raise BadPackage(
            f"{path} line {number} has {len(line)} cells, not {len(schema.columns)}; export anew"
        )
    row: dict[str, Any] = {}
    for column, cell in zip(schema.columns, line, strict=True):
        if cell == "" and column.nullable:
            row[column.name] = None
            continue
        try:
            row[column.name] = _FROM_CELL[column.kind](cell)
        except (ValueError, OverflowError) as error:
            raise BadPackage(
                f"{path} line {number}: {column.name} is {cell[:40]!r}, not a value of type "
                f"{column.kind.value}; correct it or export the study anew"
            ) from error
    return row


def _require_keys(schema: TableSchema, tables: Mapping[str, Rows]) -> None:
    keys = [row[schema.key] for row in tables[schema.name]]
    if len(set(keys)) != len(keys):
        raise BadPackage(f"the table {schema.name!r} uses a key twice; export the study anew")
    for column, to, key in schema.refers:
        known = {row[key] for row in tables[to]}
        for row in tables[schema.name]:
            if row[column] is not None and row[column] not in known:
                raise BadPackage(
                    f"the table {schema.name!r} names a {to} {str(row[column])[:40]!r} "
                    "that the package does not hold; export the study anew"
                )
