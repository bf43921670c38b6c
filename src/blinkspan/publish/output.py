"""Results reach the disk whole or not at all."""

import errno
import os
import secrets
from pathlib import Path

from blinkspan.errors import UnwritableOutput

_FULL = {errno.ENOSPC, errno.EDQUOT}


def refuse_unwritable(path: Path) -> None:
    """Refuse a place that could not be written to, before long work is spent on it.

    Raises
    ------
    UnwritableOutput
        The folder is missing or closed to us, or the path is a folder itself.
    """
    try:
        refusal = _refusal(path)
    except OSError as error:  # a name too long, a folder that may not even be looked into
        raise UnwritableOutput(_why(path, error)) from error
    if refusal is not None:
        raise UnwritableOutput(refusal)


def write_whole(path: Path, data: bytes) -> None:
    """Write the data under that name, replacing what was there in one step.

    The bytes go to a new file beside it first, so that neither a full disk nor
    an interruption leaves half a result or harms the older one. A device or a
    pipe is written straight.

    Raises
    ------
    UnwritableOutput
        The folder is missing or closed to us, the path is a folder, the disk is full.
    """
    refuse_unwritable(path)
    try:
        if _is_stream(path):
            path.write_bytes(data)
        else:
            _replace(path.resolve(), data)  # a link stays a link to its file
    except OSError as error:
        raise UnwritableOutput(_why(path, error)) from error


def _refusal(path: Path) -> str | None:
    if path.is_dir():
        return f"{path} is a folder; give the name of a file"
    if not path.parent.is_dir():
        return f"{path}: there is no folder {path.parent}; make it first or name another place"
    if not os.access(path if _is_stream(path) else path.parent, os.W_OK):
        return _closed(path)
    return None


def _replace(path: Path, data: bytes) -> None:
    part = path.parent / f".{secrets.token_hex(8)}.part"
    try:
        with part.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    except BaseException:  # an interruption too must leave nothing behind
        part.unlink(missing_ok=True)
        raise


def _is_stream(path: Path) -> bool:
    return path.exists() and not path.is_file() and not path.is_dir()


def _closed(path: Path) -> str:
    return f"{path}: no permission to write there; choose a folder of your own"


def _why(path: Path, error: OSError) -> str:
    if error.errno in _FULL:
        return f"{path}: the disk is full; free some space and run it again"
    if isinstance(error, PermissionError):
        return _closed(path)
    return f"{path}: it could not be written ({error.strerror or error}); choose another place"
