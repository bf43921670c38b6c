"""Compare measured setups with each other."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from blinkspan.errors import BadSetting
from blinkspan.jobs.accepted import Source
from blinkspan.jobs.setups import MeasuredSetup, read_setups
from blinkspan.study.comparison import Comparison, Margin, compare_all, one_frame
from blinkspan.study.felt import SENSITIVE_PLAYER, Felt, place_difference


@dataclass(frozen=True, slots=True)
class Compared:
    """Setups, each pair of them judged, and each difference against what people notice."""

    setups: tuple[MeasuredSetup, ...]
    comparisons: tuple[Comparison, ...]
    felt: tuple[Felt, ...]
    notes: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for a document."""
        return {
            "setups": [
                {"name": setup.sample.name, "summary": setup.summary.to_dict()}
                for setup in self.setups
            ],
            "comparisons": [
                {**one.to_dict(), "felt": felt.to_dict()}
                for one, felt in zip(self.comparisons, self.felt, strict=True)
            ],
        }


def compare(
    files: Sequence[Source],
    *,
    names: Sequence[str] = (),
    margin: str = "game",
    against: str | None = None,
    plan: bool = True,
    seed: int = 1,
) -> Compared:
    """Return what measured takes say of the differences between their setups.

    Parameters
    ----------
    files : sequence of Path
        Documents of measured takes.
    names : sequence of str
        The setup of each; takes of one name are pooled.
    margin : str
        "game" or "camera" for one frame of it, "felt" for what a sensitive player
        notices, or a number of ms.
    against : str | None
        Name of the setup to compare each other with; None compares all pairs.
    plan : bool
        Whether to simulate how many presses would decide what is undecided.
    seed : int
        Of that simulation.

    Raises
    ------
    UnreadableTake, BadSetting, BadSample
        As ``read_setups`` and ``compare_all`` refuse, and for a margin that is unknown.
    """
    setups, notes = read_setups(files, names)
    if len(setups) < 2:
        raise BadSetting(
            f"there is one setup only, {setups[0].sample.name}; "
            "give takes of another, or tell them apart with --name"
        )
    comparisons = compare_all(
        [setup.sample for setup in setups],
        _margin(margin, setups),
        against=against,
        rng=np.random.default_rng(seed) if plan else None,
    )
    return Compared(
        setups, comparisons, tuple(place_difference(one.shift_ms) for one in comparisons), notes
    )


def _margin(text: str, setups: Sequence[MeasuredSetup]) -> Margin:
    if text == "camera":
        return one_frame(min(setup.capture_rate_hz for setup in setups), "camera")
    if text == "felt":
        return Margin(SENSITIVE_PLAYER.low_ms, "a difference a sensitive player notices")
    if text == "game":
        rates = [setup.game_rate_hz for setup in setups]
        known = [rate for rate in rates if rate is not None]
        if not known:
            raise BadSetting(
                "the takes do not say the game's rate; give the margin as camera, felt or ms"
            )
        fastest = one_frame(max(known), "game")
        if max(known) > min(known) or len(known) < len(rates):
            return Margin(fastest.ms, f"{fastest.name} at {max(known):.4g} fps")
        return fastest
    try:
        return Margin(float(text))
    except ValueError as error:
        raise BadSetting(
            f"a margin of {text} cannot be; give game, camera, felt or a number of ms above zero"
        ) from error
