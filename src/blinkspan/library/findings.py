"""What a check of the library found."""

from dataclasses import dataclass
from enum import StrEnum


class Weight(StrEnum):
    """How much a finding matters."""

    PROBLEM = "problem"  # something is lost or damaged; a person must act
    REPAIRED = "repaired"  # something rebuildable was built again or cleared away
    NOTE = "note"  # nothing is wrong


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing found, in one line that says what to do where something is to be done."""

    weight: Weight
    text: str
