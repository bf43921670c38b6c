"""Could a growing answer have begun a game frame before it is first seen?

What grows from game frame to game frame (a fade, a jump, a view that gathers speed)
may have a first frame too small to see. The visible frames tell whether that can be:
with a hidden first frame, the visible ones are the second, third and fourth of the
growth, and grow the less from one to the next.

A growth by any power of time, a(n) = n**p, hides its first frame below the least
change that can be seen, a share 1/r of the second, only where 2**p > r. The visible
frames, a(2), a(3), a(4), then grow by (3/2)**p and 2**p: more than r**0.58 and r.
Beyond r = 10 that would take a growth steeper than the cube of time, which games hardly
use to begin a movement (common practice).
"""

import math

import numpy as np

from blinkspan.onsets.alignment import Template

_CLEAR_OF_REST = 4.0  # standard deviations of the rest before the answer
_FEWEST = 2.0  # times the least visible change: a first look below this says nothing
_PLENTY = 10.0  # times it: nothing was hidden before such a look


def may_begin_unseen(
    template: Template, whole_s: float, hold_s: float, of_visible: float, *, game_rate_known: bool
) -> bool:
    """Tell whether a game frame too faint to see may precede the first visible one.

    Parameters
    ----------
    template : Template
        Its zero is the begin of the answer.
    whole_s : float
        From when on all rows of an exposure show the first game frame.
    hold_s : float
        How long a game frame stays; where the game's rate is not known, a refresh.
    of_visible : float
        How many times the least change that an encoder shows the first look is.
    game_rate_known : bool
        Where it is not, a game frame may stay for two of ``hold_s``.
    """
    end = template.after_s[-1]
    later_s = whole_s + hold_s * (1 if game_rate_known else 2)
    if later_s > end:
        return True
    flat = template.values.reshape(template.values.shape[0], -1)
    course = flat @ flat[np.searchsorted(template.after_s, whole_s)]
    rest = course[template.after_s < -0.5 * hold_s]
    first, later = np.interp([whole_s, later_s], template.after_s, course)
    if first <= 0:
        return True
    times = min(of_visible, float(first) / max(_CLEAR_OF_REST * float(rest.std()), 1e-12))
    if times < _FEWEST or times >= _PLENTY:
        return times < _FEWEST
    return bool(later / first >= times ** math.log2(1.5))
