"""Traces as files beside the database: quick to show, and rebuilt by measuring again."""

import os
import secrets
import zipfile
from pathlib import Path

import numpy as np

from blinkspan.errors import BadTrace, UnwritableOutput
from blinkspan.library.rows import traces_digest
from blinkspan.traces.trace import Trace

_SERIES = ("lamp_values", "lamp_start_s", "response_values", "response_start_s")


def cached_at(folder: Path, digest: str) -> Path:
    """Return where the traces of that hash are cached."""
    return folder / "cache" / "traces" / digest[:2] / f"{digest}.npz"


def cache(folder: Path, lamp: Trace, response: Trace) -> str:
    """Return the hash of two traces after writing them to the cache.

    Raises
    ------
    UnwritableOutput
        The file cannot be written.
    """
    digest = traces_digest(lamp, response)
    place = cached_at(folder, digest)
    if place.exists():
        return digest
    part = place.with_name(f"{digest}.{secrets.token_hex(4)}.part")
    series = (lamp.values, lamp.start_s, response.values, response.start_s)
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        with part.open("wb") as file:
            np.savez(file, **dict(zip(_SERIES, series, strict=True)))  # type: ignore[arg-type]
            file.flush()
            os.fsync(file.fileno())
        part.replace(place)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise UnwritableOutput(
            f"the traces could not be written to {place.parent} ({error.strerror}); "
            "free some space or check the folder's permissions"
        ) from error
    return digest


def cached(folder: Path, digest: str) -> tuple[Trace, Trace] | None:
    """Return lamp and response traces, or None where the cache has none that are whole."""
    try:
        with cached_at(folder, digest).open("rb") as opened:
            file = np.load(opened, allow_pickle=False)
            lamp_values, lamp_start_s, response_values, response_start_s = (
                file[name] for name in _SERIES
            )
        lamp, response = Trace(lamp_values, lamp_start_s), Trace(response_values, response_start_s)
    except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile, BadTrace):
        return None
    return (lamp, response) if traces_digest(lamp, response) == digest else None
