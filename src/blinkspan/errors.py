"""Every refusal blinkspan can give.

BlinkspanError
├── UnreadableTake    the file is missing, damaged or not a recording      (also OSError)
├── UnwritableOutput  a result could not be written where it was wanted    (also OSError)
├── BadSetting        an option, a rate or a scene value cannot be right   (also ValueError)
├── BadRegion         a region lies outside the picture or is degenerate   (also ValueError)
├── BadTrace          the samples cannot be measured                       (also ValueError)
├── BadSample         too few or unusable numbers for a statistic          (also ValueError)
├── NothingToMeasure  the whole take was read; what is needed is not there (also LookupError)
├── UnusableLibrary   the library cannot be reached, read or written       (also OSError)
├── NotInLibrary      the library holds nothing under that name            (also LookupError)
├── LibraryConflict   what is asked disagrees with what the library holds  (also ValueError)
└── BadPackage        a data package is incomplete, broken or not ours     (also ValueError)

A method that looked and found nothing returns None; an error means it could not look.
Messages are one line: what is wrong, with the value, then what to do.
"""


class BlinkspanError(Exception):
    """Any refusal of blinkspan's own."""


class UnreadableTake(BlinkspanError, OSError):
    """The file is missing, damaged or not a recording."""


class UnwritableOutput(BlinkspanError, OSError):
    """A result could not be written where it was wanted."""


class BadSetting(BlinkspanError, ValueError):
    """An option, a rate or a scene value cannot be right."""


class BadRegion(BlinkspanError, ValueError):
    """A region lies outside the picture or is degenerate."""


class BadTrace(BlinkspanError, ValueError):
    """The samples cannot be measured."""


class BadSample(BlinkspanError, ValueError):
    """Too few or unusable numbers for a statistic."""


class NothingToMeasure(BlinkspanError, LookupError):
    """The whole take was read and what is needed is not there."""


class UnusableLibrary(BlinkspanError, OSError):
    """The library cannot be reached, read or written."""


class NotInLibrary(BlinkspanError, LookupError):
    """The library holds nothing under that name."""


class LibraryConflict(BlinkspanError, ValueError):
    """What is asked disagrees with what the library holds."""


class BadPackage(BlinkspanError, ValueError):
    """A data package is incomplete, broken or not one of ours."""
