"""The first refresh that changes the picture alike after every press of a take.

A film behind the game, grain and particles change the picture at every press in another way;
what an action does is the same each time, game frame for game frame. Where the panel's ticks
are known, pictures of successive ticks tell what each of them changed, and what two presses
changed alike, tick for tick from their answers on, the action did: before it presses have
nothing in common, and with its first game frame they have.

Presses that go back and forth (a view turned left and right, a menu opened and shut) have in
common with every other one only. They are looked at as two halves then.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from blinkspan.onsets.common_jump import Jumps, most_alike
from blinkspan.onsets.look import Light
from blinkspan.onsets.refresh_pictures import RESTING, Changes, Numbers
from blinkspan.traces.trace import Samples

_FEWEST = 5  # presses: fewer agree by chance
_HALVES = 1.25  # times as alike every other press has to be to be looked at by itself
# How alike the changes have to be, -1 to 1, and how many times more so than those before the lamp.
_ALIKE, _OVER_CHANCE, _WHOLLY_ALIKE = 0.15, 2.0, 0.9999
_MOST_ASKED = 40  # presses: what these have in common, the others do as well
# The first tick in common: how alike its changes are, and how many times the most at rest; those
# just before at most so many times the spread at rest. An encoder shows some of a change before
# it comes: so small a share of what follows (squares) is none of the action's, nor is a somewhat
# greater one of which presses have less in common than stands out of rest.
_LEAST_COMMON, _OVER_REST, _HARDLY_OVER_REST, _LEAKED = 0.03, 5.0, 4.0, 0.005
_MAY_BE_LEAKED, _ALIKE_OF_SEEN = 0.02, 0.5
_CLEARLY_COMMON, _CLEARLY_OVER_REST = 0.06, 8.0
_LEAST_NOISE, _LEAST_SPREAD = 0.005, 0.004
_SLACK, _BEFORE, _AFTER = 5, 6, 9  # ticks: by how many a press may move, and about its begin
_ROUNDS = 8
_UPPER = 0.75  # quantile
_FIRST = 3  # ticks
_SURE = 0.4  # of what a tick has in common: so much less a press agrees anywhere else
LEAST_LIKE = 0.25  # of what the usual press has in common with the others: less is no answer
_MOST_SURE = 0.7  # of the presses
# Times the greatest change at rest, for an answer that stands out of it, and for one begun before.
_STANDS_OUT, _BEGUN = 4.0, 2.0
_FIRST_LIKE = 0.3  # of what the first ticks have in common, to be like them


@dataclass(frozen=True, slots=True)
class Shared:
    """The answers that all presses have in common.

    Attributes
    ----------
    numbers : ndarray of int, shape (presses,)
        The tick, counted from the ticks' zero, that first shows each press's answer.
    sure : ndarray of bool, shape (presses,)
        Whether a press agrees with the others clearly less on any other tick.
    elsewhere : ndarray of bool, shape (presses,)
        Whether a press that agrees and stands out of rest does not begin as the others do.
    like : ndarray, shape (presses,)
        How much of what the others have in common each press has, 1 for the usual one.
    strength : ndarray, shape (presses,)
        How far each press goes along what the others have in common, in idle units.
    half : ndarray of int, shape (presses,)
        Which presses answer alike: 0 all of them, else 0 and 1 by turns.
    first_tick_clear : bool
        Whether a first game frame even fainter than the first seen would have been seen.
    """

    numbers: Numbers
    sure: npt.NDArray[np.bool_]
    elsewhere: npt.NDArray[np.bool_]
    like: Samples
    strength: Samples
    half: Numbers
    first_tick_clear: bool


def shared_answers(changes: Changes) -> Shared | None:
    """Return on which tick each press's answer begins, or None where they have none in common.

    Parameters
    ----------
    changes : Changes
        Of the panel's ticks about each press.
    """
    presses = changes.first.size
    if presses < _FEWEST:
        return None
    together, usual = _shared(changes, np.zeros(presses, np.intp))
    by_turns, usual_by_turns = None, 0.0
    if presses >= 2 * _FEWEST and (together is None or not together.sure.all()):
        by_turns, usual_by_turns = _shared(changes, np.arange(presses) % 2)
    if together is None or usual_by_turns > _HALVES * usual:
        return by_turns
    return together


def _shared(changes: Changes, half: Numbers) -> tuple[Shared | None, float]:
    """Return the answers that each part of the presses has in common, and how alike they are."""
    presses = half.size
    numbers, clear, least = np.zeros(presses, np.intp), True, 1.0
    sure, elsewhere = np.zeros(presses, np.bool_), np.zeros(presses, np.bool_)
    like, strength = np.zeros(presses), np.zeros(presses)
    for side in range(int(half.max()) + 1):
        part = np.flatnonzero(half == side)
        anchors, usual = _likeness(changes.of(part))
        least = min(least, usual)
        begun = None if anchors is None else _begun(changes.of(part), anchors)
        if begun is None:
            return None, least
        numbers[part], sure[part], elsewhere[part] = begun.numbers, begun.sure, begun.elsewhere
        like[part], strength[part] = begun.like, begun.strength
        clear &= begun.first_tick_clear
    if np.mean(sure) < _MOST_SURE:
        return None, least
    return Shared(numbers, sure, elsewhere, like, strength, half, clear), least


def _likeness(changes: Changes) -> tuple[Numbers | None, float]:
    """Return the place of each press's tick that is most like one of every other's, and how alike.

    None where they are hardly more alike than ticks before the lamp.
    """
    count = changes.lamp
    chosen, usual = _most_alike_ticks(changes, slice(count, None))
    _, by_chance = _most_alike_ticks(changes, slice(0, count))
    # As far apart as correlations are by R. A. Fisher's transformation.
    here, chance = np.arctanh(np.clip([usual, by_chance], 0.0, _WHOLLY_ALIKE)).tolist()
    if usual < _ALIKE or here < _OVER_CHANCE * chance:
        return None, usual
    return chosen, usual


def _most_alike_ticks(changes: Changes, places: slice) -> tuple[Numbers, float]:
    """Return the tick of each press by its place, -1 for one unlike the others or not asked."""
    presses = changes.first.size
    asked = np.unique(np.rint(np.linspace(0, presses - 1, _MOST_ASKED)).astype(np.intp))
    maps = changes.maps[asked, places]
    _, count, cells = maps.shape
    place = np.tile(np.arange(changes.maps.shape[1])[places], asked.size)
    press = np.repeat(asked, count)
    chosen, usual = most_alike(Jumps(maps.reshape(-1, cells), place, press), asked.tolist())
    found = np.full(presses, -1)
    found[asked] = np.where(chosen >= 0, place[chosen], -1)
    return found, usual


def _begun(changes: Changes, anchors: Numbers) -> Shared | None:
    """Return on which tick each of some presses begins that all answer alike, None where unsure.

    Presses are first laid over each other where they are most alike, then moved by whole ticks
    to where all they have in common agrees best.
    """
    agreeing = anchors >= 0
    at = np.where(agreeing, anchors, int(np.median(anchors[agreeing])))
    moved = np.zeros_like(at)
    for _ in range(_ROUNDS):
        first = _first_in_common(changes, at + moved, agreeing)
        if first is None:
            return None
        at, before = at + first[0], moved
        best, room, like = _moved(changes, at + moved, agreeing)
        moved = np.clip(moved + best, -_SLACK, _SLACK)
        agreeing = (room > _SURE) & (like > LEAST_LIKE)
        if np.mean(agreeing) < _MOST_SURE:
            return None
        if np.array_equal(moved, before) and first[0] == 0:
            break
    first = _first_in_common(changes, at + moved, agreeing)
    if first is None:
        return None
    begins = at + moved + first[0]
    there, unlike = _begin_there(changes, begins, agreeing)
    sure = agreeing & there
    strength = _strength(changes, begins, sure)
    elsewhere, half = agreeing & unlike, np.zeros_like(begins)
    return Shared(changes.first + begins, sure, elsewhere, like, strength, half, first[1])


def _strength(changes: Changes, begins: Numbers, sure: npt.NDArray[np.bool_]) -> Samples:
    """Return how far each press goes along the mean way of each of its first ticks."""
    last = changes.maps.shape[1] - 1
    places = np.clip(begins[:, None] + np.arange(_AFTER), 0, last)
    maps = np.take_along_axis(changes.maps, places[..., None], axis=1)
    size = np.take_along_axis(changes.size, places, axis=1)
    way = maps[sure].sum(axis=0)
    way /= np.maximum(np.linalg.norm(way, axis=1), 1e-6)[:, None]
    along = np.maximum(np.vecdot(maps, way), 0.0) * size
    strength: Samples = np.sqrt((along.astype(float) ** 2).sum(axis=1))
    return strength


def _begin_there(
    changes: Changes, begins: Numbers, agreeing: npt.NDArray[np.bool_]
) -> tuple[npt.NDArray[np.bool_], npt.NDArray[np.bool_]]:
    """Tell which presses begin as the others do, and not before, where they stand out of rest.

    And whose first tick is not like the others' first. A list that scrolls on and on, from
    another place each time, agrees as well a tick off: but its first tick then is unlike, or
    there was one as great before.
    """
    common, sums = _in_common(changes, begins, agreeing, range(1))
    places = np.clip(begins[:, None] + np.arange(-RESTING, _AFTER), 0, changes.maps.shape[1] - 1)
    first = changes.maps[np.arange(begins.size), places[:, RESTING]]
    others = sums[0] - np.where(agreeing[:, None], first, 0.0)
    like = np.vecdot(first, others) / np.maximum(1, agreeing.sum() - agreeing)
    size = np.take_along_axis(changes.size, places, axis=1)
    most = size[:, : RESTING - 1].max(axis=1)
    stands_out = size[:, RESTING:].max(axis=1) > _STANDS_OUT * most
    before, first_size = size[:, RESTING - 1], size[:, RESTING]
    begun = (before > _BEGUN * most) & (before**2 > _MAY_BE_LEAKED * first_size**2)
    unlike: npt.NDArray[np.bool_] = stands_out & (like <= _FIRST_LIKE * common[0])
    there: npt.NDArray[np.bool_] = ~unlike & ~(begun & stands_out)
    return there, unlike


def _in_common(
    changes: Changes, at: Numbers, agreeing: npt.NDArray[np.bool_], reach: range
) -> tuple[Samples, Light]:
    """Return how alike the changes of each tick about the begins are, and their sums.

    The mean over pairs of presses that agree; shape (ticks,) and (ticks, cells).
    """
    common, sums = [], []
    for tick in reach:
        place = at + tick
        known = (place >= 0) & (place < changes.maps.shape[1]) & agreeing
        maps = changes.maps[known, place[known]]
        total = maps.sum(axis=0)
        count = int(maps.any(axis=1).sum())
        common.append((float(total @ total) - count) / max(1, count * (count - 1)))
        sums.append(total)
    return np.array(common), np.stack(sums)


def _first_in_common(
    changes: Changes, at: Numbers, agreeing: npt.NDArray[np.bool_]
) -> tuple[int, bool] | None:
    """Return by how many ticks the first in common is off the begins, and whether it is clear."""
    before = int(at[agreeing].max()) - changes.lamp + 1
    reach = range(-max(0, before) - RESTING, _AFTER + _SLACK)
    common, _ = _in_common(changes, at, agreeing, reach)
    places = np.clip(at[agreeing, None] + np.array(reach), 0, changes.maps.shape[1] - 1)
    size = np.take_along_axis(changes.size[agreeing], places, axis=1)
    # Where some presses begin a tick before the others, theirs count.
    squares = np.quantile(size**2, _UPPER, axis=0)
    power = np.maximum(common, 0.0) * squares
    rest = common[:RESTING]
    noise, spread = max(_LEAST_NOISE, float(np.abs(rest).max())), max(_LEAST_SPREAD, rest.std())
    leaked = power < _LEAKED * np.append(power[1:], 0.0)
    stands_out = 1 - np.median(squares[:RESTING]) / np.maximum(squares, 1e-9)
    unlike = common < _ALIKE_OF_SEEN * stands_out
    leaked |= unlike & (power < _MAY_BE_LEAKED * np.append(power[1:], 0.0))
    seen = (common > max(_LEAST_COMMON, _OVER_REST * noise)) & ~leaked
    seen[:RESTING] = False
    if not seen.any():
        return None
    first = int(np.argmax(seen))
    just_before = slice(first - _FIRST, first)
    hardly = (common[just_before] > _HARDLY_OVER_REST * spread) & ~leaked[just_before]
    clear = common[first] > max(_CLEARLY_COMMON, _CLEARLY_OVER_REST * noise) and not hardly.any()
    return reach[first], bool(clear)


def _moved(
    changes: Changes, at: Numbers, agreeing: npt.NDArray[np.bool_]
) -> tuple[Numbers, Samples, Samples]:
    """Return by how many ticks each press has to move, what room it has, and how well it agrees.

    Its room is how much worse it agrees anywhere else, as a share of what one tick has in common.
    """
    reach = range(_AFTER + _SLACK)
    common, sums = _in_common(changes, at, agreeing, reach)
    common = np.maximum(common, 0.0)
    moves, places = np.arange(-_SLACK, _SLACK + 1), np.arange(-_BEFORE, _AFTER)
    last = changes.maps.shape[1]
    moved, room, agreed_best = np.zeros(at.size, np.intp), np.zeros(at.size), np.zeros(at.size)
    for k, begin in enumerate(at.tolist()):
        others = sums.copy()
        if agreeing[k]:
            own = np.arange(max(begin, 0), min(begin + len(reach), last))
            others[own - begin] -= changes.maps[k, own]
        here = np.clip(begin + places, 0, last - 1)
        along = changes.maps[k, here] @ others.T / max(1, int(agreeing.sum()) - int(agreeing[k]))
        along[(begin + places < 0) | (begin + places >= last)] = 0.0
        tick = places - moves[:, None]
        known = (tick >= 0) & (tick < len(reach))
        tick = np.where(known, tick, 0)
        gained = np.where(known, 2 * along[np.arange(places.size), tick] - common[tick], 0.0)
        agreed = gained.sum(axis=1)
        moved[k] = moves[int(np.argmax(agreed))]
        best, next_best = np.sort(agreed)[::-1][:2]
        agreed_best[k] = best
        room[k] = (best - next_best) / max(float(common[:_FIRST].mean()), 1e-9)
    return moved, room, agreed_best / max(float(np.median(agreed_best)), 1e-9)
