"""What all pages of one study share: head, tabs, the chosen setups, how presses are drawn."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Annotated, Any, TypeVar
from urllib.parse import urlencode

from fastapi import Depends, Query

from blinkspan.errors import BlinkspanError, NotInLibrary
from blinkspan.jobs.study_takes import KeptPress, MeasuredStudy, StudyTake, measured_study
from blinkspan.web.api.values import Key
from blinkspan.web.desk import TheDesk
from blinkspan.web.dots import DotPress

_Answer = TypeVar("_Answer")

NET_AXIS = "ms from lamp to response, the display’s lag taken off"
SPAN_AXIS = "ms from lamp to response, the display’s lag in it"


@dataclass(frozen=True, slots=True)
class Chosen:
    """A study and those of its setups that a page is to speak of."""

    study: MeasuredStudy
    setups: tuple[int, ...]
    asked: bool

    @property
    def takes(self) -> tuple[StudyTake, ...]:
        """The takes of these setups that hold an accepted press."""
        return self.study.of(self.setups)

    @property
    def mark(self) -> tuple[tuple[int, ...], ...]:
        """What changes as soon as an answer made from these takes would."""
        return tuple(take.mark for take in self.takes)

    @property
    def net(self) -> bool:
        """Whether the display's lag is known for all of them, so that it is taken off."""
        takes = self.takes
        return bool(takes) and all(
            kept.press.net is not None
            for take in takes
            for kept in take.presses
            if kept.press.verdict == "accepted" and kept.press.span is not None
        )

    @property
    def query(self) -> str:
        """The choice as it stands in an address; empty where nobody chose."""
        return f"?{urlencode([('setup', key) for key in self.setups])}" if self.asked else ""


def _chosen(
    desk: TheDesk,
    study_id: Key,
    setup: Annotated[list[Key], Query(description="Keys of the setups to show.")] = [],  # noqa: B006
) -> Chosen:
    study = measured_study(desk.library, study_id)
    known = [each.setup.id for each in study.setups]
    if strange := [key for key in setup if key not in known]:
        raise NotInLibrary(
            f"no setup of this study has the key {strange[0]}; choose one of its own"
        )
    with_presses = [each.setup.id for each in study.setups if each.n]
    kept = [key for key in known if key in setup] if setup else with_presses
    return Chosen(study, tuple(kept), bool(setup))


ChosenSetups = Annotated[Chosen, Depends(_chosen)]


def study_context(chosen: Chosen, tab: str) -> dict[str, Any]:
    """Return what the frame of a study's pages shows."""
    kept, query = chosen.study.kept, chosen.query
    base = f"/studies/{kept.id}"
    waiting = chosen.study.doubtful
    return {
        "study": kept,
        "base": base,
        "tab": tab,
        "tabs": (
            ("Overview", base + query),
            ("Compare", f"{base}/compare{query}"),
            ("Where the time goes", f"{base}/time{query}"),
            ("Retests", f"{base}/retests{query}"),
        ),
        "waiting": len(waiting),
        "first_waiting": press_href(waiting[0][0].take.id, waiting[0][1]) if waiting else None,
        "setups": chosen.study.setups,
        "chosen": chosen.setups,
        "query": query,
    }


def press_href(take_id: int, kept: KeptPress) -> str:
    """Return the address of a press's own page."""
    return f"/takes/{take_id}/presses/{kept.press.number}"


def dot_presses(takes: Sequence[StudyTake], *, net: bool) -> list[DotPress]:
    """Return the presses of takes that can be drawn, without those rejected."""
    drawn = (dot_press(take, kept, net=net) for take in takes for kept in take.presses)
    return [dot for dot in drawn if dot is not None and dot.verdict != "rejected"]


def dot_press(take: StudyTake, kept: KeptPress, *, net: bool) -> DotPress | None:
    """Return a press as a dot, or None where it has no time to be drawn at."""
    ms = kept.press.net if net else kept.press.span
    if ms is None:
        return None
    return DotPress(
        1e3 * ms.value,
        kept.press.verdict,
        press_href(take.take.id, kept),
        f"press {kept.press.number} of {take.take.name}",
    )


def tried(answer: Callable[[], _Answer]) -> tuple[_Answer | None, str | None]:
    """Return an answer, or in plain words why there is none: a page shows what it can."""
    try:
        return answer(), None
    except BlinkspanError as refusal:
        return None, str(refusal)
