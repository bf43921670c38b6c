"""Several processes at once: whole job, nothing lost and nobody told of a lock."""

import multiprocessing
import os
import traceback
from dataclasses import replace

import pytest
from invented_takes import LAG_SETUP, LAG_STUDY, measured_take, write_clip

from blinkspan.errors import LibraryConflict
from blinkspan.library import Library
from blinkspan.library.check import check
from blinkspan.library.runs import Inputs
from blinkspan.presses.correction import Corrects
from blinkspan.presses.press import Verdict

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="the writers are forked")

WRITERS, TURNS = 3, 15


def write(folder, clips, who, told):
    """Count up in the setup's notes, correct a press, keep a run and add clips, again and again."""
    try:
        with Library.open(folder) as library:
            for turn in range(TURNS):
                while True:
                    setup = library.setup(LAG_STUDY.name, LAG_SETUP.name)
                    count = int(setup.setup.conditions.notes or 0) + 1
                    words = replace(setup.setup.conditions, notes=str(count))
                    try:
                        library.edit_setup(setup, replace(setup.setup, conditions=words))
                        break
                    except LibraryConflict:
                        continue  # somebody counted first: read again
                take = library.takes()[0]
                press = library.presses(take=take)[turn % 4]
                library.correct(
                    press.id, Corrects.VERDICT, verdict=Verdict.DOUBTFUL, by=who, why=str(turn)
                )
                found = measured_take(library.clip(take), turn)
                library.keep_run(take, found, Inputs("0.1.0", {}))
                library.add_take(clips[turn], setup)  # all writers bring the same clips
        told.put(None)
    except BaseException:
        told.put(f"{who}: {traceback.format_exc()}")


def test_nothing_is_lost_between_writers(library, tmp_path):
    setup = library.setup(LAG_STUDY.name, LAG_SETUP.name)
    first = write_clip(tmp_path / "first.mp4", 0)
    take = library.add_take(first, setup).take
    library.keep_run(take, measured_take(first), Inputs("0.1.0", {}))
    clips = [write_clip(tmp_path / f"{n}.mp4", n, 200_000) for n in range(1, TURNS + 1)]
    library.close()
    fork = multiprocessing.get_context("fork")
    told = fork.Queue()
    writers = [
        fork.Process(target=write, args=(library.folder, clips, f"writer {n}", told))
        for n in range(WRITERS)
    ]
    for writer in writers:
        writer.start()
    assert [told.get(timeout=300) for _ in writers] == [None] * WRITERS
    for writer in writers:
        writer.join()
    assert library.setup(LAG_STUDY.name, LAG_SETUP.name).setup.conditions.notes == str(
        WRITERS * TURNS
    )
    said = library.corrections(take)
    assert sorted((kept.by, int(kept.correction.why)) for kept in said) == [
        (f"writer {n}", turn) for n in range(WRITERS) for turn in range(TURNS)
    ]
    assert len(library.runs(take)) == WRITERS * TURNS + 1
    assert len(library.takes()) == TURNS + 1
    assert list(check(library)) == []
