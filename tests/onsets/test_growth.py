"""Growing answers of known course: could their first game frame have been too faint to see?"""

import numpy as np
import pytest

from blinkspan.onsets.alignment import Template
from blinkspan.onsets.growth import Growth

HOLD_S = 1 / 60


def growing(power: float, first: int, rest: float = 0.001) -> Template:
    """Return a growth n ** power of which the game frames before ``first`` are not seen."""
    after = np.arange(-0.1, 0.06, 1 / 2000)
    frame = np.floor(after / HOLD_S).astype(int)
    level = np.where(after < 0, 0.0, np.maximum(frame + first, 0) ** power)
    noise = rest * first**power * np.random.default_rng(5).standard_normal(after.size)
    return Template(after, np.repeat((level + noise)[:, None, None], 2, axis=1))


def told(template: Template, of_visible: float, *, rate_known: bool = True) -> bool:
    growth = Growth(template, 0.005, of_visible)
    return growth.may_begin_unseen(HOLD_S, game_rate_known=rate_known)


@pytest.mark.parametrize("power", [0.5, 1.0, 2.0])
def test_a_clear_first_look_hides_nothing_before_it(power):
    assert not told(growing(power, first=1), 20.0)


def test_a_look_near_the_least_visible_change_may_have_hidden_one():
    assert told(growing(1.0, first=1), 1.5)


def test_noise_hides_a_frame_as_an_encoder_does():
    assert told(growing(1.0, first=1, rest=0.3), 50.0)


def test_a_growth_told_from_its_second_frame_on():
    # Of n ** 2 the first frame is a quarter of the second: hidden where 4 times as much is
    # needed to be seen, and the visible ones then grow by 9/4, as much as a hidden one allows.
    assert told(growing(2.0, first=2), 3.9)
    assert not told(growing(2.0, first=2), 6.0)


def test_steep_growth_from_a_faint_look_leaves_the_doubt():
    assert told(growing(3.0, first=1), 6.0)


def test_a_game_at_half_the_refresh_is_not_taken_for_one_that_grows_little():
    after = np.arange(-0.1, 0.08, 1 / 2000)
    level = np.where(after < 0, 0.0, (np.floor(after / (2 * HOLD_S)) + 1) ** 3.0)
    noise = 0.001 * np.random.default_rng(5).standard_normal(after.size)
    template = Template(after, (level + noise)[:, None, None])
    assert told(template, 6.0, rate_known=False)


def test_a_template_that_ends_too_soon_tells_nothing():
    template = growing(1.0, first=1)
    assert Growth(template, 0.055, 50.0).may_begin_unseen(HOLD_S, game_rate_known=True)


def test_a_first_look_no_larger_than_the_scenes_own_doings_is_lost_in_them():
    assert Growth(growing(1.0, first=1, rest=0.1), 0.005, 50.0).lost_in_rest(HOLD_S)
    assert not Growth(growing(1.0, first=1, rest=0.01), 0.005, 50.0).lost_in_rest(HOLD_S)


@pytest.mark.parametrize(("power", "goes_on"), [(0.0, False), (0.15, False), (1.0, True)])
def test_what_moves_goes_on_in_the_next_game_frame(power, goes_on):
    growth = Growth(growing(power, first=1), 0.005, 50.0)
    assert growth.goes_on(HOLD_S, game_rate_known=True) is goes_on


def test_a_game_at_half_the_refresh_goes_on_after_two():
    after = np.arange(-0.1, 0.08, 1 / 2000)
    level = np.where(after < 0, 0.0, np.floor(after / (2 * HOLD_S)) + 1)
    growth = Growth(Template(after, level[:, None, None]), 0.005, 50.0)
    assert growth.goes_on(HOLD_S, game_rate_known=False)
