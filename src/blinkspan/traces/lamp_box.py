"""A box round the lamp and wherever the hand takes it.

The small film tells where the lamp was in each press, far below a cell; how
large its spot is, is read once from a few full pictures around its first onsets.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.ndimage import label

from blinkspan.footage.frames import Frames
from blinkspan.traces.lamp_choice import Spot
from blinkspan.traces.lamp_pulses import Pulse, rest_frames
from blinkspan.traces.light import light_of_codes
from blinkspan.traces.regions import Rectangle
from blinkspan.traces.survey import Survey

_MARGIN = 1.75  # side of the box over the spot's own: a rim of glow tells a clipped lamp's course
_SMALLEST_PX = 6
_REACH_CELLS = 4  # the part of the full picture that is looked at
_NEAR_CELLS = 1  # about the pulse's, where the spot is brightest
_LOOKS = 3  # onsets looked at in full; each costs only the decoding up to it
_HALF = 0.5  # of the spot's light: where its rim is

Grid = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class _Look:
    """A part of the full picture around a pulse's onset."""

    pulse: Pulse
    part: Rectangle


def lamp_box(frames: Frames, survey: Survey, spot: Spot) -> Iterator[int | Rectangle]:
    """Yield the survey's count of frames while reading again, and the lamp's box last.

    Parameters
    ----------
    frames : Frames
        Read anew from the start, as far as the first few pulses.
    survey : Survey
    spot : Spot
        The lamp.
    """
    pulses = _at_the_brightest(survey, spot.pulses)
    looks = [_Look(pulse, _part(survey, pulse)) for pulse in pulses[:_LOOKS]]
    rises = [np.zeros((look.part.height, look.part.width)) for look in looks]
    rest = rest_frames(survey)
    table = light_of_codes(survey.picture).astype(np.float64)
    last = looks[-1].pulse.on + rest
    for i, luma in enumerate(frames):
        for look, rise in zip(looks, rises, strict=True):
            after = i - look.pulse.on
            if 0 < abs(after) <= rest:
                box = look.part
                light = table[luma[box.y : box.y + box.height, box.x : box.x + box.width]]
                rise += np.sign(after) * light
        if i == last:
            break
        if i % 60 == 59:
            yield survey.film.shape[0]
    boxes = [_spot_box(rise, look, survey.factor) for look, rise in zip(looks, rises, strict=True)]
    yield _path_box(survey, pulses, looks, boxes)


def _at_the_brightest(survey: Survey, pulses: Sequence[Pulse]) -> list[Pulse]:
    """Return the pulses moved to where all of them together brighten most, uphill from their place.

    A bright lamp's glow keeps two levels better than its core does; its box belongs to the core.
    """
    rest = rest_frames(survey)
    rise = np.zeros(survey.film.shape[1:])
    for pulse in pulses:
        before = survey.film[max(0, pulse.on - rest) : pulse.on].mean(axis=0)
        rise += survey.film[pulse.on + 1 : pulse.on + 1 + rest].mean(axis=0) - before
    rows = row = int(np.median([pulse.row for pulse in pulses]))
    columns = column = int(np.median([pulse.column for pulse in pulses]))
    while True:
        top, left = max(0, row - 1), max(0, column - 1)
        near = rise[top : row + 2, left : column + 2]
        if near.max() <= rise[row, column]:
            break
        down, across = divmod(int(np.argmax(near)), near.shape[1])
        row, column = top + down, left + across
    _, height, width = survey.film.shape
    return [
        replace(
            pulse,
            row=min(max(pulse.row + row - rows, 0), height - 1),
            column=min(max(pulse.column + column - columns, 0), width - 1),
        )
        for pulse in pulses
    ]


def _part(survey: Survey, pulse: Pulse) -> Rectangle:
    """Return the part of the full picture a few cells around a pulse."""
    picture, factor = survey.picture, survey.factor
    left = max(0, (pulse.column - _REACH_CELLS) * factor)
    top = max(0, (pulse.row - _REACH_CELLS) * factor)
    right = min(picture.width_px, (pulse.column + _REACH_CELLS + 1) * factor)
    bottom = min(picture.height_px, (pulse.row + _REACH_CELLS + 1) * factor)
    return Rectangle(left, top, right - left, bottom - top)


def _spot_box(rise: Grid, look: _Look, factor: int) -> tuple[float, float, float, float]:
    """Return left, top, right and bottom of what became bright, in pixels of the picture.

    A coarse encoder may draw the lamp once more beside it: the one at the pulse's cell counts.
    """
    part = look.part
    top = max(0, (look.pulse.row - _NEAR_CELLS) * factor - part.y)
    left = max(0, (look.pulse.column - _NEAR_CELLS) * factor - part.x)
    side = (2 * _NEAR_CELLS + 1) * factor
    near = rise[top : top + side, left : left + side]
    row, column = np.unravel_index(int(np.argmax(near)), near.shape)
    pieces, _ = label(rise >= _HALF * np.percentile(near, 100 * (1 - 4 / near.size)))
    rows, columns = np.nonzero(pieces == pieces[top + row, left + column])
    return (
        part.x + float(columns.min()),
        part.y + float(rows.min()),
        part.x + float(columns.max()) + 1,
        part.y + float(rows.max()) + 1,
    )


def _path_box(
    survey: Survey,
    pulses: Sequence[Pulse],
    looks: list[_Look],
    boxes: list[tuple[float, float, float, float]],
) -> Rectangle:
    """Return the box over the spot's size and path, with its margin, inside the picture."""
    width = float(np.median([right - left for left, _, right, _ in boxes]))
    height = float(np.median([bottom - top for _, top, _, bottom in boxes]))
    middles = np.array([((x0 + x1) / 2, (y0 + y1) / 2) for x0, y0, x1, y1 in boxes])
    # The film's own idea of the place is off by a fraction of a cell, the same in each press.
    seen = np.array([_place(survey, look.pulse, look.pulse.on) for look in looks])
    shift = np.median(middles - seen, axis=0)
    path = np.array(
        [_place(survey, pulse, edge) for pulse in pulses for edge in (pulse.on, pulse.off)]
    )
    lowest, highest = path.min(axis=0) + shift, path.max(axis=0) + shift
    half = np.maximum(_MARGIN * np.array([width, height]), _SMALLEST_PX) / 2
    limit = (survey.picture.width_px, survey.picture.height_px)
    left, top = np.maximum(0, np.floor(lowest - half)).astype(int)
    right, bottom = np.minimum(limit, np.ceil(highest + half)).astype(int)
    return Rectangle(int(left), int(top), int(right - left), int(bottom - top))


def _place(survey: Survey, pulse: Pulse, edge: int) -> tuple[float, float]:
    """Return x and y of the centre of what changes in the film at an edge, in pixels."""
    rest = rest_frames(survey)
    top, left = max(0, pulse.row - 2), max(0, pulse.column - 2)
    part = survey.film[:, top : pulse.row + 3, left : pulse.column + 3]
    before = part[max(0, edge - rest) : edge].mean(axis=0)
    change = np.abs(part[edge + 1 : edge + 1 + rest].mean(axis=0) - before)
    change = np.maximum(change - np.median(change), 0.0)
    if not change.any():  # a large lamp without noise: every cell around changes alike
        change = np.ones_like(change)
    total = change.sum()
    row = top + 0.5 + float(change.sum(axis=1) @ np.arange(change.shape[0])) / total
    column = left + 0.5 + float(change.sum(axis=0) @ np.arange(change.shape[1])) / total
    return column * survey.factor, row * survey.factor
