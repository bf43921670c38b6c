"""Set two platforms against each other over the measured takes of many titles."""

import math
from collections.abc import Sequence

import numpy as np

from blinkspan.errors import BadSetting
from blinkspan.jobs.accepted import AcceptedTake, Source, read_take, shared_terms
from blinkspan.study.matrix import Cell, PlatformEffect, compare_platforms


def matrix(
    files: Sequence[Source], first: str, second: str, *, mixed: bool = False
) -> tuple[PlatformEffect, tuple[str, ...]]:
    """Return how far the first platform lies above the second, and what was assumed.

    Parameters
    ----------
    files : sequence of Path
        Documents of takes that say their platform and title; takes of one
        platform, title and mode are joined.
    first, second : str
        Names of platforms as the documents have them.
    mixed : bool
        Whether to fit a mixed model as well.

    Raises
    ------
    UnreadableTake, BadSetting, BadSample
        As ``read_take`` and ``compare_platforms`` refuse, and for a take that
        does not say what it is of.
    """
    takes = [take for take in map(read_take, files) if _said(take, "platform") in (first, second)]
    net = bool(takes) and all(take.has_net for take in takes)
    shared = shared_terms(takes, net=net) if takes else {}
    places: dict[tuple[str, str, str], list[AcceptedTake]] = {}
    for take in takes:
        place = _said(take, "platform"), _mode(take), _said(take, "title")
        places.setdefault(place, []).append(take)
    cells = [
        Cell(
            *place,
            np.concatenate([take.latency_s(net=net) for take in of_place]),
            np.concatenate([take.own_u_s() for take in of_place]),
        )
        for place, of_place in places.items()
    ]
    # what each side's takes carry alone, as if it were one error in all of them: the worst case
    rest = [
        max((t.rest_u_s(shared, net=net) for t in takes if _said(t, "platform") == side), default=0)
        for side in (first, second)
    ]
    effect = compare_platforms(cells, first, second, apart_u_s=math.hypot(*rest), mixed=mixed)
    used = "Net latencies are used." if net else "Spans are used, the display's lag in them."
    return effect, (used,)


def _said(take: AcceptedTake, condition: str) -> str:
    value = take.document.conditions.get(condition)
    if not value:
        raise BadSetting(f"{take.name} does not say its {condition}; measure it with that given")
    return value


def _mode(take: AcceptedTake) -> str:
    """Return the mode as the take says it, or by the game's rate where it does not."""
    mode, rate_hz = take.document.conditions.get("mode"), take.document.display.game_rate_hz
    if not mode and rate_hz is None:
        raise BadSetting(f"{take.name} says neither its mode nor the game's rate; give one")
    return mode or f"{rate_hz:.0f} fps"
