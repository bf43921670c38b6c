"""What is kept: results for years, takes by content hash."""

from blinkspan.library.store import Library
from blinkspan.library.study_view import StudyView

__all__ = ["Library", "StudyView"]
