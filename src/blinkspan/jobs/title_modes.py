"""Read measured takes of one title and sort their presses into frame-rate modes.

Also decides what the takes share. Where all were filmed with one camera mode,
its clock and its readout err alike in all; where all carry one display lag, so
does that. Whatever else the presses of a take share is counted as its own.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from blinkspan.errors import BadSample, BadSetting, UnreadableTake
from blinkspan.presses.press import Verdict
from blinkspan.profiles import CTA_SCAN_FRACTION
from blinkspan.publish.document import read_document
from blinkspan.publish.parts import PressPart, TakeDocument
from blinkspan.study.modes import ModeSample

_OF_THE_CAMERA = ("rolling shutter", "camera clock")
_SAME_RATE = 1.02  # 59.94 and 60 fps are one mode
_SLOWEST_HZ, _FASTEST_HZ = 5.0, 1000.0
_HELD_EQUAL = ("platform", "title")


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
class _Take:
    name: str
    rate_hz: float
    document: TakeDocument
    presses: tuple[PressPart, ...]
    scanout_s: float | None


def read_modes(
    files: Sequence[Path],
    *,
    game_rates_hz: Sequence[float] = (),
    baseline: Path | None = None,
    baseline_rate_hz: float | None = None,
) -> TitleModes:
    """Return the accepted presses of measured takes, by frame-rate mode.

    Parameters
    ----------
    files : sequence of Path
        JSON documents of measured takes of one title on one platform.
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
    takes = [_take(file, rate) for file, rate in zip(files, rates, strict=True)]
    menu = None if baseline is None else _take(baseline, baseline_rate_hz)
    _refuse_unlike(takes, _HELD_EQUAL)
    everything = takes if menu is None else [*takes, menu]
    _refuse_unlike(everything, ("platform",))
    net = all(press.net_ms is not None for take in everything for press in take.presses)
    shared = _shared_terms(everything, net=net)
    scanned = not net and all(take.scanout_s is not None for take in everything)
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


def _take(file: Path, rate_hz: float | None) -> _Take:
    try:
        text = file.read_bytes()
    except FileNotFoundError as error:
        raise UnreadableTake(f"{file}: there is no such file; give one --json wrote") from error
    except OSError as error:
        raise UnreadableTake(
            f"{file}: it cannot be read ({error.strerror}); give a file that --json wrote"
        ) from error
    try:
        document = read_document(text)
    except BadSetting as error:
        raise BadSetting(f"{file}: {error}") from error
    rate = document.display.game_rate_hz if rate_hz is None else rate_hz
    if rate is None:
        raise BadSetting(f"{file} does not say the game's rate; give it with --game-rate")
    if not _SLOWEST_HZ <= rate <= _FASTEST_HZ:
        raise BadSetting(f"{file}: a game rate of {rate:g} Hz cannot be; give frames a second")
    presses = tuple(
        press
        for press in document.presses
        if press.verdict is Verdict.ACCEPTED and press.span_ms is not None
    )
    if not presses:
        raise BadSample(f"{file} has no accepted press; review its doubtful ones or film again")
    return _Take(file.name, rate, document, presses, _scanout_s(document, presses))


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


def _refuse_unlike(takes: Sequence[_Take], keys: Sequence[str]) -> None:
    first = takes[0]
    for take in takes[1:]:
        for key in keys:
            ours, theirs = first.document.conditions.get(key), take.document.conditions.get(key)
            if ours and theirs and ours != theirs:
                raise BadSetting(
                    f"{first.name} is of {key} {ours} and {take.name} of {theirs}; "
                    f"give takes of one {key}"
                )


def _by_rate(takes: Sequence[_Take]) -> list[list[_Take]]:
    groups: list[list[_Take]] = []
    for take in sorted(takes, key=lambda one: one.rate_hz):
        if groups and take.rate_hz < _SAME_RATE * groups[-1][0].rate_hz:
            groups[-1].append(take)
        else:
            groups.append([take])
    return groups


def _terms(take: _Take, *, net: bool) -> dict[str, float]:
    """Return what all presses of a take share, by name, in seconds."""
    seen: dict[str, list[float]] = {}
    for press in take.presses:
        for term in press.budget.terms:
            if term.shared:
                seen.setdefault(term.name, []).append(1e-3 * term.u_ms)
    terms = {name: float(np.mean(values)) for name, values in seen.items()}
    if net and take.document.display.lag_u_ms is not None:
        terms["display lag"] = 1e-3 * take.document.display.lag_u_ms
    return terms


def _shared_terms(takes: Sequence[_Take], *, net: bool) -> dict[str, float]:
    """Return the terms that err alike in all takes, each as large as in the least of them."""
    each = [_terms(take, net=net) for take in takes]
    names = set.intersection(*(set(terms) for terms in each))
    cameras = [(take.document.camera, take.document.take.rate_hz) for take in takes]
    lags = [
        (
            take.document.display.lag_ms,
            take.document.display.lag_u_ms,
            take.document.display.refresh_hz,
        )
        for take in takes
    ]
    alike = set(_OF_THE_CAMERA) if all(camera == cameras[0] for camera in cameras) else set()
    if all(lag == lags[0] for lag in lags):
        alike.add("display lag")
    return {name: min(terms[name] for terms in each) for name in names & alike}


def _sample(
    name: str, takes: Sequence[_Take], shared: dict[str, float], *, net: bool, scanned: bool
) -> ModeSample:
    presses = [press for take in takes for press in take.presses]
    latency = [press.net_ms if net else press.span_ms for press in presses]
    own: list[float] = []
    for take in takes:
        terms = _terms(take, net=net)
        # a term larger here than in the least of the takes errs by the rest alone
        own.append(sum(u**2 - shared.get(term, 0.0) ** 2 for term, u in terms.items()))
    scanout = float(np.mean([take.scanout_s for take in takes])) if scanned else 0.0
    return ModeSample(
        name=name,
        frame_s=float(np.mean([1.0 / take.rate_hz for take in takes])),
        latency_s=1e-3 * np.array(latency, dtype=np.float64),
        own_u_s=1e-3 * np.array([press.budget.own_u_ms for press in presses]),
        mode_u_s=math.sqrt(max(own)),
        scanout_s=scanout,
    )


def _notes(takes: Sequence[_Take], *, net: bool, scanned: bool) -> tuple[str, ...]:
    notes = []
    if net:
        notes.append("Net latencies are used: the display's lag is taken off.")
    else:
        notes.append("Spans are used: the display's lag is part of the fixed part.")
    refreshes = {take.document.display.refresh_hz for take in takes}
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
