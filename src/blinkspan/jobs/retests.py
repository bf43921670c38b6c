"""Follow the measured takes of one setup over builds and dates."""

from collections.abc import Sequence
from datetime import date

from blinkspan.errors import BadSetting
from blinkspan.jobs.accepted import AcceptedTake, Source, read_take, refuse_unlike, shared_terms
from blinkspan.study.retests import Series, Shot, follow

HELD_EQUAL = ("platform", "title", "mode", "action", "spot", "link")


def retests(
    files: Sequence[Source],
    dates: Sequence[date],
    *,
    builds: Sequence[str] = (),
    session_u_ms: float = 0.0,
) -> tuple[Series, tuple[str, ...]]:
    """Return the changes from take to take, and what was assumed in plain sentences.

    Parameters
    ----------
    files : sequence of Path
        Documents of takes of one setup.
    dates : sequence of date
        When each was filmed, in the same order.
    builds : sequence of str
        The title's version in each; empty where the documents say it.
    session_u_ms : float
        Standard uncertainty from session to session, if known.

    Raises
    ------
    UnreadableTake, BadSetting, BadSample
        As ``read_take`` and ``follow`` refuse, and for takes that are not of one setup.
    """
    for what, given in (("dates", dates), ("builds", builds)):
        if len(given) != len(files) and (given or what == "dates"):
            raise BadSetting(f"{len(given)} {what} for {len(files)} files; give one for each")
    if not 0.0 <= session_u_ms <= 1000.0:
        raise BadSetting(f"{session_u_ms:g} ms from session to session cannot be; give 0 to 1000")
    takes = [read_take(file) for file in files]
    refuse_unlike(takes, HELD_EQUAL)
    net = all(take.has_net for take in takes)
    shared = shared_terms(takes, net=net)
    shots = [
        Shot(
            build=build,
            shot_on=day,
            latency_s=take.latency_s(net=net),
            own_u_s=take.own_u_s(),
            # the rest is no other take's: a name that none of them shares
            systematic_s={**shared, f"take {index}": take.rest_u_s(shared, net=net)},
        )
        for index, (take, day, build) in enumerate(
            zip(takes, dates, builds or [_build(take) for take in takes], strict=True)
        )
    ]
    used = "Net latencies are used." if net else "Spans are used, the display's lag in them."
    return follow(shots, session_u_s=1e-3 * session_u_ms), (used,)


def _build(take: AcceptedTake) -> str:
    build = take.document.conditions.get("build")
    if not build:
        raise BadSetting(f"{take.name} does not say its build; give it with --build")
    return build
