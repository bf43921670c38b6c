"""A recorded real program, measured by the command: whole job, nothing of the stage in it.

A browser's page lights a patch at key-down and answers some animation frames
later; the screen is grabbed meanwhile. Two judges: the pictures themselves,
read by OpenCV (a grabbed picture is one moment, so each instant lies between two
pictures, whatever is measured), and the page's own log of its animation frames.
"""

import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from blinkspan.cli.main import main
from outside.recorded_program import (
    LAMP,
    WATCH,
    Recording,
    SeenPress,
    TooBusy,
    missing_programs,
    record,
    seen_presses,
)

PRESSES = 8
# No multiple of the page's 60 frames a second: a grab in step with them would flatter.
GRABS_HZ = 235
EXPOSURE_MS = 0.2  # a grab is a copy in memory; this is only to be far below a picture's time
PAGE_FRAME_MS = 1000 / 60


@dataclass(frozen=True)
class Measured:
    recording: Recording
    seen: list[SeenPress]
    presses: list[dict]


@pytest.fixture(scope="module")
def measured(tmp_path_factory) -> Measured:
    missing = missing_programs()
    if missing:
        pytest.skip(f"a program cannot be recorded here, for want of {', '.join(missing)}")
    folder = tmp_path_factory.mktemp("recorded")
    recording = _recorded(folder)
    result = folder / "result.json"
    line = ["measure", str(recording.path), "--json", str(result), "--readout", "0"]
    line += ["--exposure", str(EXPOSURE_MS), "--refresh", "60", "--game-rate", "60"]
    for name, box in (("--lamp", LAMP), ("--watch", WATCH)):
        line += [name, f"{box.x},{box.y},{box.width},{box.height}"]
    main(line, standalone_mode=False)
    return Measured(
        recording, seen_presses(recording.path)[1], json.loads(result.read_text())["presses"]
    )


def _recorded(folder: Path) -> Recording:
    """Return a recording that lost no press on its way to the file, within three tries."""
    for seed in (1, 2, 3):
        try:
            home = folder / str(seed)
            home.mkdir()
            return record(home, PRESSES, GRABS_HZ, seed)
        except TooBusy as trouble:
            reason = str(trouble)
    pytest.skip(f"a program cannot be recorded here now: {reason}")


def test_each_press_is_found_and_none_invented(measured):
    assert len(measured.recording.presses) == len(measured.seen) == PRESSES
    assert len(measured.presses) == PRESSES


def test_each_instant_lies_between_the_pictures_that_hold_it(measured):
    # A picture's own length is what the exposure was said to be.
    slack_s = EXPOSURE_MS / 1e3
    for press, seen in zip(measured.presses, measured.seen, strict=True):
        assert seen.lamp_s[0] <= press["lamp_on_s"] <= seen.lamp_s[1] + slack_s
        if press["verdict"] == "accepted":
            # The response is a fit to all presses: allowed twice what it says of itself besides.
            assert seen.answer_s[0] - 0.002 <= press["response_s"] <= seen.answer_s[1] + 0.002


def test_accepted_presses_tell_what_the_pages_own_clock_tells(measured):
    errors_ms, stated_ms = [], []
    for press, logged in zip(measured.presses, measured.recording.presses, strict=True):
        if press["verdict"] == "accepted":
            errors_ms.append(press["span_ms"] - 1e3 * (logged.answer_s - logged.lamp_s))
            stated_ms.append(press["u_ms"])
    assert len(errors_ms) >= PRESSES // 2  # a busy machine may drop pictures beside some onsets
    # The page's clock tells when a frame was begun, not when it was on the screen; on a busy
    # machine one of the two may come a frame late, which is no error of measuring.
    assert abs(np.median(errors_ms)) < 2.5
    late = np.abs(errors_ms) > np.maximum(2 * np.array(stated_ms), PAGE_FRAME_MS / 2)
    assert late.sum() <= 1


def test_the_doubt_stated_is_no_less_than_sampling_leaves(measured):
    # JCGM 100, 4.3.7: an instant known to lie in a gap of T has u = T / sqrt(12). A busy machine
    # grabs unevenly: the gap is the one between the two pictures that hold this onset.
    for press, seen in zip(measured.presses, measured.seen, strict=True):
        gap_ms = 1e3 * (seen.lamp_s[1] - seen.lamp_s[0])
        assert press["lamp_on_u_ms"] > 0.8 * (gap_ms - EXPOSURE_MS) / 12**0.5
