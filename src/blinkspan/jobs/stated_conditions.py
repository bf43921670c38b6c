"""What a person says was held equal, as the conditions that setups are sorted by."""

from collections.abc import Iterable
from dataclasses import fields

from blinkspan.errors import BadSetting
from blinkspan.study.setup import Conditions

# A document also names the gear it was filmed with; in a library the setup's profiles do.
CONDITION_NAMES = (*(field.name for field in fields(Conditions)), "display", "camera")


def stated_conditions(pairs: Iterable[str]) -> dict[str, str]:
    """Return conditions given as ``name=value``, in the order of ``CONDITION_NAMES``.

    Hyphens and underscores in names are the same.

    Raises
    ------
    BadSetting
        No ``=``, no value, a name that is no condition, or one given twice: takes are
        sorted into setups by these names, and a misspelt one would sort them wrongly.

    Examples
    --------
    >>> stated_conditions(["mode=performance 60", "platform=Corvid"])
    {'platform': 'Corvid', 'mode': 'performance 60'}
    """
    said: dict[str, str] = {}
    for pair in pairs:
        name, equals, value = pair.partition("=")
        name, value = name.strip().replace("-", "_"), value.strip()
        if not equals or not value:
            raise BadSetting(f"the condition {pair!r} says nothing; write it as name=value")
        if name not in CONDITION_NAMES:
            raise BadSetting(
                f"{name!r} is no condition of a setup; take one of {', '.join(CONDITION_NAMES)}"
            )
        if name in said:
            raise BadSetting(f"the condition {name!r} is given twice; give it once")
        said[name] = value
    return {name: said[name] for name in CONDITION_NAMES if name in said}
