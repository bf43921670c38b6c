"""Where the screen changes after the lamp lights, more than it does by itself."""

import numpy as np
import numpy.typing as npt
from scipy.ndimage import label

from blinkspan.traces.following import CLEAR, Following, Grid, glow_of
from blinkspan.traces.regions import Quadrilateral, Rectangle
from blinkspan.traces.survey import Survey
from blinkspan.traces.trace import Samples

_STRONG = 0.15  # of the strongest cells' change: what counts as the answer's place
_FEWEST_CELLS = 3  # that touch
_TRIMMED = 0.02  # share of the answer's change left out at each side
_MARGIN_CELLS = 1
_CENTRAL = 0.6  # of the panel's width and height, where no place is clear


def watched_part(
    survey: Survey, follows: Following, lamp: Rectangle, panel: Quadrilateral | None
) -> Rectangle:
    """Return the box round what follows the presses, or the middle of the panel if nothing does.

    Where no panel keeps them apart, the box leaves out the lamp and its glow: of what lies
    about it, the side with most of the answer is kept.
    """
    limits, extra = _limits(survey, panel), _clear_change(follows)
    if not extra.any():
        return _middle(limits)
    box = _box_of(survey, extra, limits)
    glow = glow_of(survey, lamp)
    if panel is not None or not _overlap(box, glow):
        return box
    parts = [part for part in _beside(limits, glow) if extra[survey.cell_box(part)].any()]
    return max(
        (_box_of(survey, _inside(survey, extra, part), part) for part in parts),
        key=lambda kept: float(extra[survey.cell_box(kept)].sum()),
    )


def _clear_change(follows: Following) -> Grid:
    """Return the change of the cells that clearly follow the presses, 0 elsewhere.

    Those that do so after most of them, or like they never do by themselves, where there are any.
    """
    clear = follows.clear > CLEAR
    always = _strong_pieces(follows.extra, clear & follows.always)
    return always if always.any() else _strong_pieces(follows.extra, clear)


def _strong_pieces(extra: Grid, clear: npt.NDArray[np.bool_]) -> Grid:
    """Return the change of the clear cells that are strong and touch enough others, 0 elsewhere."""
    if clear.any():
        clear = clear & (extra >= _STRONG * np.percentile(extra[clear], 95))
    pieces, count = label(clear, np.ones((3, 3)))
    for piece in range(1, count + 1):
        if (pieces == piece).sum() < _FEWEST_CELLS:
            clear[pieces == piece] = False
    return np.where(clear, extra, 0.0)


def _box_of(survey: Survey, extra: Grid, limits: Rectangle) -> Rectangle:
    """Return the box round the bulk of a change, within limits."""
    top, bottom = _span(extra.sum(axis=1))
    left, right = _span(extra.sum(axis=0))
    f = survey.factor
    x0, y0 = max(limits.x, left * f), max(limits.y, top * f)
    x1 = min(limits.x + limits.width, right * f)
    y1 = min(limits.y + limits.height, bottom * f)
    return Rectangle(x0, y0, x1 - x0, y1 - y0)


def _inside(survey: Survey, extra: Grid, part: Rectangle) -> Grid:
    kept = np.zeros_like(extra)
    kept[survey.cell_box(part)] = extra[survey.cell_box(part)]
    return kept


def _beside(limits: Rectangle, glow: Rectangle) -> list[Rectangle]:
    """Return what of a box lies left of, right of, above and below another."""
    x1, y1 = limits.x + limits.width, limits.y + limits.height
    right, bottom = glow.x + glow.width, glow.y + glow.height
    parts = [
        Rectangle(limits.x, limits.y, glow.x - limits.x, limits.height),
        Rectangle(right, limits.y, x1 - right, limits.height),
        Rectangle(limits.x, limits.y, limits.width, glow.y - limits.y),
        Rectangle(limits.x, bottom, limits.width, y1 - bottom),
    ]
    return [part for part in parts if part.width > 0 and part.height > 0]


def _overlap(one: Rectangle, other: Rectangle) -> bool:
    return max(one.x, other.x) < min(one.x + one.width, other.x + other.width) and max(
        one.y, other.y
    ) < min(one.y + one.height, other.y + other.height)


def _limits(survey: Survey, panel: Quadrilateral | None) -> Rectangle:
    """Return the box that a watched part may not leave."""
    whole = Rectangle(0, 0, survey.picture.width_px, survey.picture.height_px)
    if panel is None:
        return whole
    box = panel.bounding_box()
    x0, y0 = max(0, box.x), max(0, box.y)
    x1, y1 = min(whole.width, box.x + box.width), min(whole.height, box.y + box.height)
    return Rectangle(x0, y0, x1 - x0, y1 - y0)


def _middle(box: Rectangle) -> Rectangle:
    """Return the central part of a box."""
    width, height = max(1, round(_CENTRAL * box.width)), max(1, round(_CENTRAL * box.height))
    return Rectangle(
        box.x + (box.width - width) // 2, box.y + (box.height - height) // 2, width, height
    )


def _span(extra: Samples) -> tuple[int, int]:
    """Return the first and one past the last cell of the bulk of the change, with its margin."""
    share = np.cumsum(extra) / extra.sum()
    first = int(np.searchsorted(share, _TRIMMED, side="right"))
    last = int(np.searchsorted(share, 1 - _TRIMMED))
    return first - _MARGIN_CELLS, min(last, extra.size - 1) + 1 + _MARGIN_CELLS
