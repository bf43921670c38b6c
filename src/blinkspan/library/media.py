"""Clips by content hash: the name of a file in the library is the SHA-256 of its bytes.

A clip appears in its place whole or not at all: bytes are first copied to a
part file, hashed on the way, forced to the disk, and then renamed.
"""

import hashlib
import os
import re
import secrets
import shutil
import stat
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path

from blinkspan.errors import UnreadableTake, UnwritableOutput

Progress = Callable[[int], None]

_CHUNK = 4 * 1024 * 1024
_NAME = re.compile(r"([0-9a-f]{64})(\.[a-z0-9]{1,8})?")


def _no_progress(_bytes: int) -> None:
    """Tell nobody."""


class Media:
    """The media folder of a library."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.incoming = folder / "incoming"

    def place(self, sha256: str, name: str) -> Path:
        """Return where the clip of that hash lies; ``name`` lends its ending only."""
        ending = Path(name).suffix.lower()
        known = ending if re.fullmatch(r"\.[a-z0-9]{1,8}", ending) else ""
        return self.folder / sha256[:2] / f"{sha256}{known}"

    def copy_in(
        self, source: Path, sha256: str, name: str, progress: Progress = _no_progress
    ) -> Path:
        """Return the place of a copy made of ``source``.

        Raises
        ------
        UnreadableTake
            The source changed since its hash was taken, or cannot be read.
        UnwritableOutput
            The copy cannot be written; nothing is left behind.
        """
        place = self.place(sha256, name)
        if place.exists():
            return place
        part = self.incoming / f"{sha256}.{os.getpid()}.{secrets.token_hex(4)}.part"
        try:
            self.incoming.mkdir(parents=True, exist_ok=True)
            place.parent.mkdir(exist_ok=True)
            with _reading(source) as read, part.open("wb") as write:
                digest = hashlib.sha256()
                while chunk := read(_CHUNK):
                    digest.update(chunk)
                    write.write(chunk)
                    progress(len(chunk))
                write.flush()
                os.fsync(write.fileno())
            if digest.hexdigest() != sha256:
                raise UnreadableTake(
                    f"{source} changed while it was read; wait until it is whole and add it again"
                )
            part.chmod(stat.S_IRUSR | stat.S_IRGRP | stat.S_IROTH)
            part.replace(place)
            sync_folder(place.parent)
        except OSError as error:
            with suppress(OSError):
                part.unlink(missing_ok=True)
            if isinstance(error, UnreadableTake):
                raise
            raise UnwritableOutput(
                f"{source} could not be copied into the library ({error.strerror}); free some "
                "space or check the folder's permissions, nothing kept so far is lost"
            ) from error
        return place

    def put(self, content: bytes, ending: str) -> str:
        """Return the hash of content after keeping it as a file of that ending.

        Raises
        ------
        UnwritableOutput
            It cannot be written.
        """
        sha256 = hashlib.sha256(content).hexdigest()
        place = self.place(sha256, f"still{ending}")
        part = self.incoming / f"{sha256}.{os.getpid()}.{secrets.token_hex(4)}.part"
        try:
            self.incoming.mkdir(parents=True, exist_ok=True)
            place.parent.mkdir(exist_ok=True)
            with part.open("wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            part.replace(place)
            sync_folder(place.parent)
        except OSError as error:
            with suppress(OSError):
                part.unlink(missing_ok=True)
            raise UnwritableOutput(
                f"a picture could not be kept in the library ({error.strerror}); free some "
                "space or check the folder's permissions, nothing kept so far is lost"
            ) from error
        return sha256

    def link_in(self, source: Path, sha256: str, name: str) -> Path:
        """Return the place of a hard link to ``source``.

        Raises
        ------
        UnwritableOutput
            The two lie on different disks, or the system knows no hard links.
        """
        place = self.place(sha256, name)
        try:
            place.parent.mkdir(parents=True, exist_ok=True)
            with suppress(FileExistsError):
                place.hardlink_to(source.resolve())
            sync_folder(place.parent)
        except OSError as error:
            raise UnwritableOutput(
                f"{source} cannot be linked into the library ({error.strerror}); "
                "a hard link needs the same disk, otherwise copy"
            ) from error
        return place

    def files(self) -> Iterator[tuple[Path, str | None]]:
        """Yield every file of the folder with the hash its name claims, or None."""
        for path in sorted(self.folder.rglob("*")):
            if path.is_dir() and not path.is_symlink():
                continue
            match = _NAME.fullmatch(path.name)
            claimed = match[1] if match and path.parent.name == match[1][:2] else None
            yield path, claimed


def file_sha256(path: Path, progress: Progress = _no_progress) -> str:
    """Return the SHA-256 of a file's bytes, as hexadecimal.

    Raises
    ------
    UnreadableTake
        It is missing, a folder, or may not be read.
    """
    digest = hashlib.sha256()
    with _reading(path) as read:
        while chunk := read(_CHUNK):
            digest.update(chunk)
            progress(len(chunk))
    return digest.hexdigest()


def copy_whole(source: Path, target: Path) -> None:
    """Copy a file so that ``target`` is whole on the disk, or not there."""
    part = target.with_name(f"{target.name}.{secrets.token_hex(4)}.part")
    target.parent.mkdir(parents=True, exist_ok=True)
    try:
        shutil.copyfile(source, part)
        with part.open("rb+") as file:
            os.fsync(file.fileno())
        part.replace(target)
    finally:
        part.unlink(missing_ok=True)


def sync_folder(folder: Path) -> None:
    """Force a folder's entries to the disk, where the system lets a folder be opened."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


class _reading:
    """A file opened for reading whose failures are told as an unreadable take."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def __enter__(self) -> Callable[[int], bytes]:
        try:
            self.file = self.path.open("rb")
        except FileNotFoundError as error:
            raise UnreadableTake(f"{self.path}: there is no such file; check the path") from error
        except IsADirectoryError as error:
            raise UnreadableTake(f"{self.path} is a folder; name a file in it") from error
        except OSError as error:
            raise UnreadableTake(
                f"{self.path} cannot be read ({error.strerror}); check its permissions"
            ) from error
        return self._read

    def __exit__(self, *_: object) -> None:
        self.file.close()

    def _read(self, size: int) -> bytes:
        try:
            return self.file.read(size)
        except OSError as error:
            raise UnreadableTake(
                f"{self.path} cannot be read to its end ({error.strerror}); check the disk"
            ) from error
