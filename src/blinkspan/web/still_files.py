"""Scripts, styles and drawings of the pages, which browsers keep until they change.

They are served under a name made of their bytes, so that a browser may keep them
for good and asks for them anew when one of them changed. Modules name each other
by relative paths and so stay under that name by themselves. Under the plain
``/static`` they are served too, and there a browser asks each time whether they
changed (RFC 9110, 13.1.2; RFC 8246).
"""

import hashlib
import os
from pathlib import Path

from starlette.responses import Response
from starlette.staticfiles import StaticFiles
from starlette.types import Scope

FOLDER = Path(__file__).parent / "static"
_DIGITS = 12


def fingerprint() -> str:
    """Return a name that changes when any of the files does."""
    held = hashlib.sha256()
    for file in sorted(each for each in FOLDER.rglob("*") if each.is_file()):
        held.update(file.relative_to(FOLDER).as_posix().encode())
        held.update(hashlib.sha256(file.read_bytes()).digest())
    return held.hexdigest()[:_DIGITS]


class StillFiles(StaticFiles):
    """The files, each with word of how long a browser may keep it."""

    def __init__(self, *, forever: bool) -> None:
        super().__init__(directory=FOLDER)
        self._kept = "private, max-age=31536000, immutable" if forever else "private, no-cache"

    def file_response(
        self,
        full_path: str | os.PathLike[str],
        stat_result: os.stat_result,
        scope: Scope,
        status_code: int = 200,
    ) -> Response:
        """Return a file, or that it did not change."""
        answer = super().file_response(full_path, stat_result, scope, status_code)
        answer.headers["Cache-Control"] = self._kept
        return answer
