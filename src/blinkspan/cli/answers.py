"""Show the answer of a study: to a reader as text, to a program as JSON."""

import json
from collections.abc import Mapping, Sequence
from importlib.metadata import version
from pathlib import Path
from typing import Any

import click

from blinkspan.publish.output import write_whole


def answer_json(
    schema: str, files: Sequence[Path], notes: Sequence[str], answer: Mapping[str, Any]
) -> bytes:
    """Return an answer as indented UTF-8 JSON with what it was made from."""
    document = {
        "schema": schema,
        "program": f"blinkspan {version('blinkspan')}",
        "files": [file.name for file in files],
        **answer,
        "notes": list(notes),
    }
    return json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False).encode() + b"\n"


def write_answer(target: str, data: bytes) -> None:
    """Write an answer to a file, or to standard output where the target is "-".

    Raises
    ------
    UnwritableOutput
        The file cannot be written.
    """
    if target == "-":
        click.echo(data, nl=False)
    else:
        write_whole(Path(target), data)
