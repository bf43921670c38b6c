"""A highlight that walks down a menu: each press answers in a place of its own."""

from dataclasses import replace

import numpy as np
import pytest

from blinkspan.presses.measuring import TakePresses, measure_presses
from blinkspan.presses.press import Verdict
from blinkspan.profiles import CameraProfile, DisplayProfile
from blinkspan.quantities import Measured
from blinkspan.traces.reduction import Series
from blinkspan.traces.regions import Regions
from presses.array_film import LAMP, PANEL, WATCH, ArrayFilm, series_of, staged

ENTRIES = 4
READOUT_S, EXPOSURE_S = 0.002, 0.003


def menu_of(film: ArrayFilm) -> Series:
    """Return the film's series with a menu watched, whose highlight leads down and round.

    Exact: each row's share of an exposure after the tick, the row's own by scan and readout.
    """
    series = series_of(film)
    _, rows, columns = series.watch.shape
    row_px = series.watch_row_px
    scan_s = (row_px - WATCH.middle_row_px) * 0.96 / film.refresh_hz / 50.0
    start = series.clock.start_s[:, None] + row_px * film.readout_s / film.format.height_px - scan_s
    entry_of_row = np.minimum(np.arange(rows) * ENTRIES // rows, ENTRIES - 1)
    light = np.full((start.shape[0], rows), 6000.0)
    for k, tick in enumerate(film.responses_s):
        share = np.clip((start + film.exposure_s - tick) / film.exposure_s, 0, 1)
        light += 9000 * share * (entry_of_row == (k + 1) % ENTRIES)
        light -= 9000 * share * (entry_of_row == k % ENTRIES)
    light += 9000 * (entry_of_row == 0)
    noise = np.random.default_rng(4).normal(0, 60, (*light.shape, columns))
    watch = np.clip(np.rint(light[:, :, None] + noise), 0, 65535).astype(np.uint16)
    return replace(series, watch=watch)


BY_HAND_S = tuple(0.080 + 0.0037 * ((5 * k) % 14) for k in range(14))


@pytest.fixture(scope="module", params=["a hand", "a machine"])
def film(request) -> ArrayFilm:
    """Return a film pressed by a hand, or all alike, when the lamp tells less of the exposure."""
    film = staged(count=14, readout_s=READOUT_S, exposure_s=EXPOSURE_S)
    return replace(film, lamp_held_s=BY_HAND_S) if request.param == "a hand" else film


@pytest.fixture(scope="module")
def found(film: ArrayFilm) -> TakePresses:
    return measure_presses(
        menu_of(film),
        Regions(LAMP, PANEL, WATCH),
        CameraProfile(None, Measured(READOUT_S, 1e-5)),
        DisplayProfile(refresh_hz=60.0, game_rate_hz=60.0),
    )


def test_every_press_is_answered_at_its_instant(film, found):
    true = np.array(film.responses_s) - np.array(film.lamp_on_s)
    assert [press.verdict for press in found.presses] == [Verdict.ACCEPTED] * 14
    spans = np.array([press.span.value for press in found.presses])
    u = np.array([press.span.u for press in found.presses])
    # The rows of an entry are up to 20 of 50 px from the middle: 6 ms of scan, were they
    # not carried to one row.
    assert np.abs(spans - true).max() < 0.0012
    assert (np.abs(spans - true) < 2 * u).all()


def test_walking_back_and_forth_leaves_no_response_without_a_press(found):
    assert found.unpaired_responses == ()


def test_an_answer_without_a_press_is_told(film):
    alone_s = film.responses_s[-1] + 3.0
    longer = replace(film, responses_s=(*film.responses_s, alone_s), seconds=film.seconds + 6.0)
    told = measure_presses(
        menu_of(longer),
        Regions(LAMP, PANEL, WATCH),
        CameraProfile(None, Measured(READOUT_S, 1e-5)),
        DisplayProfile(refresh_hz=60.0, game_rate_hz=60.0),
    )
    assert len(told.presses) == 14
    assert [abs(r.value - alone_s) < 0.02 for r in told.unpaired_responses] == [True]
