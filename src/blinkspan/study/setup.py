"""What is held equal over a set of presses, and the question its numbers are to answer."""

import re
from dataclasses import dataclass

_DIGITS = re.compile(r"(\d+)")


@dataclass(frozen=True, slots=True)
class Conditions:
    """Everything a setup holds equal, in the reviewer's own words; empty where not said.

    Attributes
    ----------
    build : str
        The title's version or patch.
    mode : str
        The frame-rate mode, such as "performance 60".
    action : str
        What the press makes the game do.
    spot : str
        The exact place in the title: its load changes latency.
    link : str
        How the controller is joined, such as "wired" or "wireless".
    picture_mode : str
        The display's picture mode.
    """

    platform: str = ""
    title: str = ""
    build: str = ""
    mode: str = ""
    action: str = ""
    spot: str = ""
    link: str = ""
    picture_mode: str = ""
    notes: str = ""


@dataclass(frozen=True, slots=True)
class Setup:
    """A named set of conditions with the profiles of the gear it is filmed with.

    Attributes
    ----------
    name : str
        Unique within its study.
    display, camera : str | None
        Names of kept profiles; None where nothing is known.
    """

    name: str
    conditions: Conditions = Conditions()
    display: str | None = None
    camera: str | None = None
    tags: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Study:
    """A question and the name under which its setups are kept."""

    name: str
    question: str = ""
    notes: str = ""


def reading_order(name: str) -> list[str | int]:
    """Return what to sort names by, so that the numbers in them count as numbers.

    Examples
    --------
    >>> sorted(["arc 120", "Arc 60", "arc 30"], key=reading_order)
    ['arc 30', 'Arc 60', 'arc 120']
    """
    parts = _DIGITS.split(name.casefold())  # words and digits take turns, words first
    return [int(part) if at % 2 else part for at, part in enumerate(parts)]
