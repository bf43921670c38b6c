"""Read a measured take: its accepted presses, and which of their doubts other takes share.

Where takes were filmed with one camera mode, its clock and its readout err alike
in all; where they carry one display lag, so does that. Whatever else the presses
of a take share is that take's own.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from blinkspan.errors import BadSample, BadSetting, UnreadableTake
from blinkspan.presses.press import Verdict
from blinkspan.publish.document import read_document
from blinkspan.publish.parts import PressPart, TakeDocument

Floats = npt.NDArray[np.float64]

_OF_THE_CAMERA = ("rolling shutter", "camera clock")
_LAG = "display lag"


@dataclass(frozen=True, slots=True, eq=False)
class NamedDocument:
    """A measured take's document that lies in no file, and what the take is called."""

    name: str
    document: TakeDocument

    def __str__(self) -> str:
        """Return the name, as a path tells its own."""
        return self.name


# Where a measured take is read from: a file that --json wrote, or a document at hand.
Source = Path | NamedDocument


@dataclass(frozen=True, slots=True)
class AcceptedTake:
    """A measured take and its accepted presses."""

    name: str
    document: TakeDocument
    presses: tuple[PressPart, ...]

    @property
    def has_net(self) -> bool:
        """Whether the display's lag is known."""
        return all(press.net_ms is not None for press in self.presses)

    @property
    def display_told(self) -> tuple[float | str | None, ...]:
        """Return what tells one display from another: two of one stated lag err each by itself."""
        display, said = self.document.display, self.document.conditions
        names = (said.get(key, "") for key in ("display", "picture_mode"))
        return display.lag_ms, display.lag_u_ms, display.refresh_hz, *names

    def latency_s(self, *, net: bool) -> Floats:
        """Return the presses' net latencies, or their spans, in seconds."""
        of = [press.net_ms if net else press.span_ms for press in self.presses]
        return 1e-3 * np.array(of, dtype=np.float64)

    def own_u_s(self) -> Floats:
        """Return the part of each press's uncertainty that is its own, in seconds."""
        return 1e-3 * np.array([press.budget.own_u_ms for press in self.presses])

    def terms_s(self, *, net: bool) -> dict[str, float]:
        """Return the uncertainties that all presses share, by name, in seconds."""
        seen: dict[str, list[float]] = {}
        for press in self.presses:
            for term in press.budget.terms:
                if term.shared:
                    seen.setdefault(term.name, []).append(1e-3 * term.u_ms)
        terms = {name: float(np.mean(values)) for name, values in seen.items()}
        if net and self.document.display.lag_u_ms is not None:
            terms[_LAG] = 1e-3 * self.document.display.lag_u_ms
        return terms

    def rest_u_s(self, shared: Mapping[str, float], *, net: bool) -> float:
        """Return what all presses share and other takes do not, in seconds.

        A term that is larger here than in the least of the takes errs by the rest alone.
        """
        terms = self.terms_s(net=net)
        return math.sqrt(sum(u**2 - shared.get(name, 0.0) ** 2 for name, u in terms.items()))


def read_take(source: Source, *, may_be_empty: bool = False) -> AcceptedTake:
    """Return the accepted presses of a take's document.

    Parameters
    ----------
    may_be_empty : bool
        Whether a take without an accepted press is taken too.

    Raises
    ------
    UnreadableTake
        The file is missing or cannot be read.
    BadSetting
        It is no take document.
    BadSample
        It holds no accepted press, and must.
    """
    document = source.document if isinstance(source, NamedDocument) else _document_in(source)
    presses = tuple(
        press
        for press in document.presses
        if press.verdict is Verdict.ACCEPTED and press.span_ms is not None
    )
    if not presses and not may_be_empty:
        raise BadSample(f"{source} has no accepted press; review its doubtful ones or film again")
    return AcceptedTake(source.name, document, presses)


def _document_in(file: Path) -> TakeDocument:
    try:
        text = file.read_bytes()
    except FileNotFoundError as error:
        raise UnreadableTake(f"{file}: there is no such file; give one --json wrote") from error
    except OSError as error:
        raise UnreadableTake(
            f"{file}: it cannot be read ({error.strerror}); give a file that --json wrote"
        ) from error
    try:
        return read_document(text)
    except BadSetting as error:
        raise BadSetting(f"{file}: {error}") from error


def shared_terms(takes: Sequence[AcceptedTake], *, net: bool) -> dict[str, float]:
    """Return the terms that err alike in all takes, each as large as in the least of them."""
    each = [take.terms_s(net=net) for take in takes]
    names = set.intersection(*(set(terms) for terms in each))
    cameras = [(take.document.camera, take.document.take.rate_hz) for take in takes]
    lags = [take.display_told for take in takes]
    alike = set(_OF_THE_CAMERA) if all(camera == cameras[0] for camera in cameras) else set()
    if all(lag == lags[0] for lag in lags):
        alike.add(_LAG)
    return {name: min(terms[name] for terms in each) for name in names & alike}


def refuse_unlike(takes: Sequence[AcceptedTake], conditions: Sequence[str]) -> None:
    """Refuse takes that say they differ in a condition; silence is taken as likeness.

    Raises
    ------
    BadSetting
    """
    first = takes[0]
    for take in takes[1:]:
        for key in conditions:
            ours, theirs = first.document.conditions.get(key), take.document.conditions.get(key)
            if ours and theirs and ours != theirs:
                raise BadSetting(
                    f"{first.name} is of {key} {ours} and {take.name} of {theirs}; "
                    f"give takes of one {key}"
                )
