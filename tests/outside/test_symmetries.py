"""What must not matter to a measured take, over films chosen by hypothesis: exact properties."""

from dataclasses import replace
from functools import cache

from hypothesis import given, settings
from hypothesis import strategies as st

from blinkspan.presses.measuring import TakePresses, measure_presses
from blinkspan.profiles import CameraProfile, DisplayProfile
from blinkspan.quantities import Measured
from blinkspan.traces.regions import Regions
from presses.array_film import LAMP, PANEL, WATCH, ArrayFilm, measured, series_of, staged

FEW = settings(max_examples=4, deadline=None, derandomize=True)
SEEDS = st.sampled_from([1, 2])


@cache
def of(seed: int) -> tuple[ArrayFilm, TakePresses]:
    """Return a film and what is measured of it, kept for all properties."""
    film = staged(count=4, seed=seed, readout_s=0.001 * seed, response_time_s=0.001 * (seed - 1))
    return film, measured(film)


def agree(found, anew, later_s: float = 0.0, of_u: float = 1.0) -> None:
    """Hold two measurings of the same presses against each other, within a share of stated u."""
    assert len(anew.presses) == len(found.presses)
    for one, other in zip(found.presses, anew.presses, strict=True):
        assert other.verdict == one.verdict
        for name in ("lamp_on", "response"):
            first, second = getattr(one, name), getattr(other, name)
            assert abs(second.value - first.value - later_s) <= of_u * first.u
        assert abs(other.span.value - one.span.value) <= of_u * one.span.u


@FEW
@given(SEEDS, st.integers(1, 90))
def test_a_take_begun_later_has_every_onset_so_much_earlier(seed, frames):
    film, found = of(seed)
    series = series_of(film)
    clock = replace(series.clock, start_s=series.clock.start_s[:-frames])
    names = ("lamp", "lamp_clipped", "around", "watch")
    cut = replace(series, clock=clock, **{name: getattr(series, name)[frames:] for name in names})
    camera = CameraProfile(None, Measured(film.readout_s, 1e-5))
    display = DisplayProfile(None, film.refresh_hz, film.refresh_hz)
    anew = measure_presses(cut, Regions(LAMP, PANEL, WATCH), camera, display)
    agree(found, anew, -frames / film.rate_hz)


@FEW
@given(SEEDS, st.integers(1, 400))
def test_a_take_moved_in_time_has_every_onset_moved_alike(seed, frames):
    film, found = of(seed)
    later_s = frames / film.rate_hz
    moved = replace(
        film,
        lamp_on_s=tuple(t + later_s for t in film.lamp_on_s),
        responses_s=tuple(t + later_s for t in film.responses_s),
        seconds=film.seconds + later_s,
    )
    agree(found, measured(moved), later_s)


@FEW
@given(SEEDS)
def test_a_mirrored_picture_measures_the_same(seed):
    film, found = of(seed)
    agree(found, measured(replace(film, mirrored=True)), of_u=0.1)


@FEW
@given(SEEDS, st.floats(0.45, 1.0))
def test_less_light_measures_the_same_but_for_noise(seed, brightness):
    film, found = of(seed)
    agree(found, measured(replace(film, brightness=brightness)), of_u=2.0)


@FEW
@given(SEEDS, st.floats(0.1, 4.0))
def test_idle_film_at_the_end_changes_nothing(seed, seconds):
    film, found = of(seed)
    agree(found, measured(replace(film, seconds=film.seconds + seconds)), of_u=1.0)
