"""Read measured takes and sort their accepted presses into setups."""

import json
from collections.abc import Sequence
from dataclasses import dataclass

import msgspec
import numpy as np

from blinkspan.errors import BadSetting
from blinkspan.jobs.accepted import AcceptedTake, Source, read_take
from blinkspan.presses.press import Verdict
from blinkspan.study.phrases import listed
from blinkspan.study.sample import Sample, SharedDoubt
from blinkspan.study.summary import Summary, summarise

_SHUTTER = "rolling shutter"
_OF_THE_CAMERA = (_SHUTTER, "camera clock")
_LAG = "display lag"
# Conditions that are sentences more often than names: left out of a name that can do without.
_SAID_AT_LENGTH = ("action", "spot", "display", "camera", "notes")
_SAME_RATE = 1.02  # 59.94 and 60 fps are one


@dataclass(frozen=True, slots=True)
class MeasuredSetup:
    """The accepted presses of one setup, from one take or several.

    Attributes
    ----------
    sample : Sample
        In ms, with what its presses share.
    summary : Summary
    game_rate_hz : float | None
        None where the takes do not say it or do not agree.
    capture_rate_hz : float
        Of the slowest camera.
    """

    sample: Sample
    summary: Summary
    game_rate_hz: float | None
    capture_rate_hz: float


def read_setups(
    files: Sequence[Source], names: Sequence[str] = ()
) -> tuple[tuple[MeasuredSetup, ...], tuple[str, ...]]:
    """Return the setups that takes were filmed in, and what was assumed in plain sentences.

    Parameters
    ----------
    files : sequence of Path
        Documents of measured takes.
    names : sequence of str
        The setup of each take; takes of one name are pooled. Empty: takes that state
        the same conditions are one setup, a take that states none is one by itself.

    Raises
    ------
    UnreadableTake
        As ``read_take`` refuses; a take without an accepted press is none of these.
    BadSetting
        A file is no take document or given twice, or there is not one name for each.
    """
    if names and len(names) != len(files):
        raise BadSetting(f"{len(names)} names for {len(files)} takes; give one for each")
    twice = sorted(str(file) for file in files if files.count(file) > 1)
    if twice:
        raise BadSetting(f"{twice[0]} is given twice; its presses would be counted twice")
    takes = [read_take(file, may_be_empty=True) for file in files]
    copies = [take.document.take.sha256 for take in takes]
    for take, digest in zip(takes, copies, strict=True):
        if copies.count(digest) > 1:
            raise BadSetting(f"{take.name} is of the same recording as another; give each once")
    counting = [take for take in takes if take.presses]
    net = all(take.has_net for take in counting)
    groups: dict[str, list[AcceptedTake]] = {}
    for take, label in zip(takes, names or _labels(takes), strict=True):
        groups.setdefault(label, []).append(take)
    notes = []
    if counting and net:
        notes.append("Net latencies are used: the display's lag is taken off.")
    elif any(take.has_net for take in counting):
        notes.append("Spans are used: the display's lag is not known for every take.")
    elif counting:
        notes.append("Spans are used: the display's lag is in them.")
    stated = [take.document.conditions for take in takes]
    also = [key for key in _keys(stated) if _differ(stated, key) and key not in _telling(stated)]
    if also and not names:
        named = listed([key.replace("_", " ") for key in also])
        notes.append(f"The setups differ in {named} as well, which their names leave out.")
    if not net and _differ(stated, "display", "picture_mode"):
        notes.append(
            "The takes do not state one and the same display: a difference may be the displays'. "
            "Measure each lag and give it with --lag."
        )
    lags = {take.document.display.refresh_hz for take in takes}
    if not net and len(lags) > 1:
        notes.append(
            "The takes' refresh rates differ, and a display's lag can differ with them: measure "
            "it and give it with --lag."
        )
    return tuple(_setup(label, group, net=net) for label, group in groups.items()), tuple(notes)


def _labels(takes: Sequence[AcceptedTake]) -> list[str]:
    """Name each take after the conditions in which takes differ, or else after its file."""
    stated = [take.document.conditions for take in takes]
    differing = _telling(stated)
    keys = _keys(stated)
    keys = [key for key in keys if key not in _SAID_AT_LENGTH] or keys
    labels = []
    for take, conditions in zip(takes, stated, strict=True):
        words = [conditions[key] for key in differing or keys if conditions.get(key)]
        labels.append(", ".join(words) if words else take.name.removesuffix(".json"))
        if not words and labels.count(labels[-1]) > 1:
            raise BadSetting(
                f"two takes are called {take.name} and state no conditions; name their setups "
                "with --name"
            )
    return labels


def _differ(stated: Sequence[dict[str, str]], *keys: str) -> int:
    """How many more than one set of these conditions there are; one not stated is one too."""
    return len({tuple(conditions.get(key, "") for key in keys) for conditions in stated}) - 1


def _keys(stated: Sequence[dict[str, str]]) -> list[str]:
    return list(dict.fromkeys(key for conditions in stated for key in conditions))


def _telling(stated: Sequence[dict[str, str]]) -> list[str]:
    """Return the conditions that tell the setups apart, without those that add nothing to it."""
    telling: list[str] = []
    for key in _keys(stated):
        if _differ(stated, *telling, key) > _differ(stated, *telling):
            telling.append(key)
    return telling


def _setup(label: str, takes: Sequence[AcceptedTake], *, net: bool) -> MeasuredSetup:
    sample = Sample(
        name=label,
        latency_ms=1e3 * np.concatenate([take.latency_s(net=net) for take in takes]),
        own_u_ms=1e3 * np.concatenate([take.own_u_s() for take in takes]),
        shared=_shared(takes, net=net),
    )
    every = [press for take in takes for press in take.document.presses]
    rates = [take.document.display.game_rate_hz for take in takes]
    known = [rate for rate in rates if rate is not None]
    rate = known[0] if known and len(known) == len(rates) else None
    if rate is not None and max(known) > _SAME_RATE * min(known):
        rate = None
    summary = summarise(
        sample.latency_ms,
        sample.own_u_ms,
        sample.shared_u_ms,
        doubtful=sum(press.verdict is Verdict.DOUBTFUL for press in every),
        rejected=sum(press.verdict is Verdict.REJECTED for press in every),
        game_rate_hz=rate,
        numbers=[press.number for press in takes[0].presses] if len(takes) == 1 else None,
    )
    return MeasuredSetup(sample, summary, rate, min(take.document.take.rate_hz for take in takes))


def _shared(takes: Sequence[AcceptedTake], *, net: bool) -> tuple[SharedDoubt, ...]:
    """List what all presses share, by cause; a cause in some takes only weighs their presses."""
    total = sum(len(take.presses) for take in takes)
    if total == 0:
        return ()
    weighed: dict[tuple[str, str], float] = {}
    for take in takes:
        for name, u_s in take.terms_s(net=net).items():
            key = (name, _cause(name, take))
            part = 1e3 * u_s * len(take.presses) / total
            weighed[key] = weighed.get(key, 0.0) + part
    return tuple(SharedDoubt(name, cause, u_ms) for (name, cause), u_ms in weighed.items())


def _cause(name: str, take: AcceptedTake) -> str:
    """Say what a term hangs on: takes that agree in it err alike.

    The shutter's error turns its sign with the lamp above or below the response, so
    takes filmed the one way and the other do not count as erring alike.
    """
    document = take.document
    if name in _OF_THE_CAMERA:
        camera = [msgspec.to_builtins(document.camera), document.take.rate_hz]
        return json.dumps([*camera, _lamp_is_above(take)] if name == _SHUTTER else camera)
    if name == _LAG:
        return json.dumps(take.display_told)
    return take.name


def _lamp_is_above(take: AcceptedTake) -> bool:
    _, top, _, height = take.document.regions.lamp
    rows = [press.response_row_px for press in take.presses if press.response_row_px is not None]
    return bool(rows) and top + height / 2.0 < float(np.mean(rows))
