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
from dataclasses import dataclass

import numpy as np

from blinkspan.onsets.alignment import Template
from blinkspan.traces.trace import Samples

_CLEAR_OF_REST = 4.0  # standard deviations of the rest before the answer
_FEWEST = 2.0  # times the least visible change: a first look below this says nothing
_PLENTY = 10.0  # times it: nothing was hidden before such a look
_GOES_ON = 1.2  # times the first look: what appears at once stays as it is, what moves does not
_LOST = 5.0  # times what is clear of the rest: below it more than one game frame may be hidden


@dataclass(frozen=True, slots=True)
class Growth:
    """How an answer grows.

    Attributes
    ----------
    template : Template
        Its zero is the begin of the answer.
    whole_s : float
        From when on all rows of an exposure show the first game frame.
    of_visible : float
        How many times the least change that an encoder shows the first look is.
    """

    template: Template
    whole_s: float
    of_visible: float

    def may_begin_unseen(self, hold_s: float, *, game_rate_known: bool) -> bool:
        """Tell whether a game frame too faint to see may precede the first visible one.

        Parameters
        ----------
        hold_s : float
            How long a game frame stays; where the game's rate is not known, a refresh.
        game_rate_known : bool
            Where it is not, a game frame may stay for two of ``hold_s``.
        """
        later_s = self._next_s(hold_s, game_rate_known)
        if later_s > self.template.after_s[-1]:
            return True
        first, later = self._looks_at(self.whole_s, later_s)
        if first <= 0:
            return True
        times = min(self.of_visible, first / self._clear_of_rest(hold_s))
        if times < _FEWEST or times >= _PLENTY:
            return times < _FEWEST
        return bool(later / first >= times ** math.log2(1.5))

    def goes_on(self, hold_s: float, *, game_rate_known: bool) -> bool:
        """Tell whether the answer goes on the way of its first look in the next game frame.

        The parameters are those of ``may_begin_unseen``.
        """
        first, later = self._looks_at(self.whole_s, self._next_s(hold_s, game_rate_known))
        return later > _GOES_ON * first

    def lost_in_rest(self, hold_s: float) -> bool:
        """Tell whether the first look hardly stands out of what the scene does by itself."""
        (first,) = self._looks_at(self.whole_s)
        return first < _LOST * self._clear_of_rest(hold_s)

    def _next_s(self, hold_s: float, game_rate_known: bool) -> float:
        """Return when the next game frame is shown whole."""
        return self.whole_s + hold_s * (1 if game_rate_known else 2)

    def _looks_at(self, *after_s: float) -> tuple[float, ...]:
        """Return how far the answer has gone towards its first whole look at some times."""
        return tuple(np.interp(after_s, self.template.after_s, self._course()).tolist())

    def _clear_of_rest(self, hold_s: float) -> float:
        rest = self._course()[self.template.after_s < -0.5 * hold_s]
        return max(_CLEAR_OF_REST * float(rest.std()), 1e-12)

    def _course(self) -> Samples:
        flat = self.template.values.reshape(self.template.values.shape[0], -1)
        at = min(int(np.searchsorted(self.template.after_s, self.whole_s)), flat.shape[0] - 1)
        course: Samples = flat @ flat[at]
        return course
