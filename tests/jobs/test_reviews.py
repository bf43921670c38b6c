"""Reviews that are kept against reviews made afresh from the same library; exact."""

import shutil

import pytest

from blinkspan.errors import NotInLibrary, UnusableLibrary
from blinkspan.jobs.review import correct
from blinkspan.jobs.reviews import Reviews
from blinkspan.jobs.take_review import take_review
from blinkspan.jobs.take_setup import give_regions
from blinkspan.library import Library
from blinkspan.library.runs import Inputs
from blinkspan.presses.press import Verdict
from blinkspan.quantities import Measured
from library.invented_takes import LAG_SETUP, LAG_STUDY, measured_take, write_clip


def filled(folder, clip, presses=6):
    """Return a library that holds one take with invented numbers."""
    with Library.init(folder) as made:
        made.add_study(LAG_STUDY)
        take = made.add_take(clip, made.add_setup(LAG_STUDY.name, LAG_SETUP)).take
        made.keep_run(take, measured_take(clip, 1, presses), Inputs("0.1.0", {}))
    return folder


@pytest.fixture
def clip(tmp_path):
    return write_clip(tmp_path / "take.mp4", 1)


@pytest.fixture
def library(tmp_path, clip):
    return filled(tmp_path / "library", clip)


@pytest.fixture
def reviews(library):
    kept = Reviews(library)
    yield kept
    kept.close()


def same(kept, fresh):
    """Whether two reviews show the same; traces are held apart, since arrays have no one answer."""
    names = ("take", "setup", "run", "given_regions", "presses", "corrections", "undo", "redo")
    return all(getattr(kept, name) == getattr(fresh, name) for name in (*names, "seen"))


def test_a_review_is_made_once_while_nothing_changes(reviews, library):
    first = reviews.of(1)
    assert reviews.of(1) is first
    assert same(first, take_review(library, 1))


def test_what_anyone_says_of_a_take_is_in_its_next_review(reviews, library, clip):
    press = reviews.of(1).presses[2].kept
    later = Measured(press.press.response.value + 0.01, 0.001)
    regions = reviews.of(1).measurement.regions
    steps = (
        lambda: correct(library, press.id, by="Ivo", why="", verdict=Verdict.REJECTED),
        lambda: reviews.correct(press.id, by="Mara", why="", response=later),
        lambda: reviews.undo(reviews.of(1).undo, by="Mara"),
        lambda: give_regions(library, 1, regions, "Mara"),
        lambda: measured_again(library, clip),
    )
    seen = [reviews.of(1)]
    for step in steps:
        step()
        seen.append(reviews.of(1))
        assert same(seen[-1], take_review(library, 1))
        assert not same(seen[-1], seen[-2])
    assert seen[2].measurement is seen[0].measurement  # a correction moves no trace
    assert len(seen[-1].presses) == 7


def measured_again(library, clip):
    with Library.open(library) as opened:
        opened.keep_run(opened.take(1), measured_take(clip, 2, 7), Inputs("0.1.0", {}))


def test_a_take_that_is_not_there_is_told(reviews):
    with pytest.raises(NotInLibrary, match="no take has the key 7"):
        reviews.of(7)


def test_a_library_that_went_away_or_became_another_is_noticed(reviews, library, clip, tmp_path):
    assert len(reviews.of(1).presses) == 6
    shutil.move(library, tmp_path / "elsewhere")
    with pytest.raises(UnusableLibrary):
        reviews.of(1)
    filled(library, clip, presses=3)
    assert len(reviews.of(1).presses) == 3


def test_a_library_brought_to_a_newer_schema_meanwhile_is_refused(reviews, library):
    reviews.of(1)
    with Library.open(library) as opened, opened.database.writing() as db:
        db.exec_driver_sql("UPDATE alembic_version SET version_num = '9999'")
    with pytest.raises(UnusableLibrary, match="newer than"):
        reviews.of(1)
