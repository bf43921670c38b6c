"""What is kept: results for years, takes by content hash."""

from blinkspan.library.store import Library, StudyView

__all__ = ["Library", "StudyView"]
