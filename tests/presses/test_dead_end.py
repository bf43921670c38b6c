"""A panel in step with the camera, briefly exposed: the search for its step has dead ends."""

from dataclasses import replace
from fractions import Fraction

import numpy as np

from blinkspan.jobs.measure import MeasuredTake, measure_take
from blinkspan.jobs.measure_settings import MeasureSettings
from blinkspan.stage.catalogue import CATALOGUE
from blinkspan.stage.equipment import Display
from blinkspan.stage.play import Game
from blinkspan.stage.render import render_scene


def test_a_search_that_ends_far_from_what_is_known_is_begun_anew(tmp_path):
    scene = CATALOGUE["short-exposure"]
    scene = replace(
        scene,
        name="in-step",
        seed=36,
        display=Display(refresh_hz=Fraction(120)),
        game=Game(rate_hz=Fraction(120)),
        presses=replace(scene.presses, count=6),
    )
    staged = render_scene(scene, tmp_path, threads=1)
    truth = staged.truth
    settings = MeasureSettings(lamp=truth.lamp, panel=truth.panel, watch=truth.watch)
    *_, found = measure_take(staged.path, settings, threads=1)
    assert isinstance(found, MeasuredTake)
    presses = found.measurement.presses
    spans = [(p.span, true.span_ms) for p, true in zip(presses, truth.presses, strict=True)]
    off = [1e3 * span.value - true_ms for span, true_ms in spans]
    assert abs(np.mean(off)) < min(1e3 * span.u for span, _ in spans)
