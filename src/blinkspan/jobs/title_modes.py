"""Read measured takes of one title and sort their presses into frame-rate modes."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from blinkspan.errors import BadSetting
from blinkspan.jobs.accepted import AcceptedTake, Source, read_take, refuse_unlike, shared_terms
from blinkspan.profiles import CTA_SCAN_FRACTION
from blinkspan.publish.parts import PressPart, TakeDocument
from blinkspan.study.modes import ModeSample

_SAME_RATE = 1.02  # 59.94 and 60 fps are one mode
_SLOWEST_HZ, _FASTEST_HZ = 5.0, 1000.0


@dataclass(frozen=True, slots=True)
class TitleModes:
    """The modes of a title, the menu if it was given, and what is shared by all.

    Attributes
    ----------
    samples : tuple[ModeSample, ...]
    baseline : ModeSample | None
    shared_u_s : float
        Standard uncertainty that every mode carries alike.
    notes : tuple[str, ...]
        What was assumed, each a plain sentence.
    """

    samples: tuple[ModeSample, ...]
    baseline: ModeSample | None
    shared_u_s: float
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _ModeTake:
    take: AcceptedTake
    rate_hz: float
    scanout_s: float | None


def read_modes(
    files: Sequence[Source],
    *,
    game_rates_hz: Sequence[float] = (),
    baseline: Source | None = None,
    baseline_rate_hz: float | None = None,
) -> TitleModes:
    """Return the accepted presses of measured takes, by frame-rate mode.

    Parameters
    ----------
    files : sequence of Path
        Documents of measured takes of one title on one platform.
    game_rates_hz : sequence of float
        The game's rate in each, in the same order, or one for all; empty where
        the documents themselves say it.
    baseline : Path | None
        The document of a take of the system's own menu, and the menu's rate
        where the document does not say it.

    Raises
    ------
    UnreadableTake
        A file is missing or cannot be read.
    BadSetting
        A file is no take document, a rate is missing or absurd, or the takes are
        not of one title on one platform.
    BadSample
        A take has no accepted press.
    """
    if len(game_rates_hz) not in (0, 1, len(files)):
        raise BadSetting(
            f"{len(game_rates_hz)} game rates for {len(files)} files; give one for each or one"
        )
    rates: list[float | None] = list(game_rates_hz) or [None]
    rates = rates * len(files) if len(rates) == 1 else rates
    takes = [_mode_take(file, rate) for file, rate in zip(files, rates, strict=True)]
    menu = None if baseline is None else _mode_take(baseline, baseline_rate_hz)
    everything = takes if menu is None else [*takes, menu]
    refuse_unlike([one.take for one in takes], ["platform", "title"])
    refuse_unlike([one.take for one in everything], ["platform"])
    net = all(one.take.has_net for one in everything)
    shared = shared_terms([one.take for one in everything], net=net)
    scanned = not net and all(one.scanout_s is not None for one in everything)
    samples = tuple(
        _sample(f"{round(group[0].rate_hz)} fps", group, shared, net=net, scanned=scanned)
        for group in _by_rate(takes)
    )
    return TitleModes(
        samples=samples,
        baseline=(
            None if menu is None else _sample("the menu", [menu], shared, net=net, scanned=scanned)
        ),
        shared_u_s=math.hypot(*shared.values()),
        notes=_notes(everything, net=net, scanned=scanned),
    )


def _mode_take(file: Source, rate_hz: float | None) -> _ModeTake:
    take = read_take(file)
    rate = take.document.display.game_rate_hz if rate_hz is None else rate_hz
    if rate is None:
        raise BadSetting(f"{file} does not say the game's rate; give it with --game-rate")
    if not _SLOWEST_HZ <= rate <= _FASTEST_HZ:
        raise BadSetting(f"{file}: a game rate of {rate:g} Hz cannot be; give frames a second")
    return _ModeTake(take, rate, _scanout_s(take.document, take.presses))


def _scanout_s(document: TakeDocument, presses: Sequence[PressPart]) -> float | None:
    """Return the time from a refresh's start to the response's row, or None where unknown."""
    panel, refresh_hz = document.regions.panel, document.display.refresh_hz
    rows = [press.response_row_px for press in presses if press.response_row_px is not None]
    if panel is None or refresh_hz is None or refresh_hz <= 0.0 or not rows:
        return None
    (_, top_left), (_, top_right), (_, bottom_right), (_, bottom_left) = panel
    top, bottom = (top_left + top_right) / 2.0, (bottom_left + bottom_right) / 2.0
    if bottom <= top:
        return None
    fraction = (float(np.mean(rows)) - top) / (bottom - top)
    return CTA_SCAN_FRACTION / refresh_hz * fraction if 0.0 <= fraction <= 1.0 else None


def _by_rate(takes: Sequence[_ModeTake]) -> list[list[_ModeTake]]:
    groups: list[list[_ModeTake]] = []
    for take in sorted(takes, key=lambda one: one.rate_hz):
        if groups and take.rate_hz < _SAME_RATE * groups[-1][0].rate_hz:
            groups[-1].append(take)
        else:
            groups.append([take])
    return groups


def _sample(
    name: str, takes: Sequence[_ModeTake], shared: Mapping[str, float], *, net: bool, scanned: bool
) -> ModeSample:
    return ModeSample(
        name=name,
        frame_s=float(np.mean([1.0 / one.rate_hz for one in takes])),
        latency_s=np.concatenate([one.take.latency_s(net=net) for one in takes]),
        own_u_s=np.concatenate([one.take.own_u_s() for one in takes]),
        mode_u_s=max(one.take.rest_u_s(shared, net=net) for one in takes),
        scanout_s=float(np.mean([one.scanout_s for one in takes])) if scanned else 0.0,
    )


def _notes(takes: Sequence[_ModeTake], *, net: bool, scanned: bool) -> tuple[str, ...]:
    notes = []
    if net:
        notes.append("Net latencies are used: the display's lag is taken off.")
    else:
        notes.append("Spans are used: the display's lag is part of the fixed part.")
    refreshes = {one.take.document.display.refresh_hz for one in takes}
    if not net and not scanned and (len(refreshes) > 1 or None in refreshes):
        notes.append(
            "Not every take tells its refresh rate and panel, so the scan-out to the row is left "
            "in; between modes of unlike refresh it passes for part of a queued frame."
        )
    if not net and len(refreshes) > 1:
        notes.append(
            "The modes' refresh rates differ; a display lag that differs with them is counted as "
            "queued frames unless it is measured and taken off."
        )
    return tuple(notes)
