"""Where results may go: places that cannot be written, full disks, interruptions (whole job)."""

import os
import resource
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

PROGRAM = [sys.executable, "-c", "from blinkspan.cli.main import main; main()"]
FULL = Path("/dev/full")
always_full = pytest.mark.skipif(not FULL.exists(), reason="no device that is always full")


def one_line(text: str, words: str) -> bool:
    return text.startswith("Error: ") and text.count("\n") == 1 and words in text


def ends(group: int) -> bool:
    """Say whether the last process of a group goes within some seconds."""
    for _ in range(300):
        try:
            os.killpg(group, 0)
        except ProcessLookupError:
            return True
        time.sleep(0.1)
    return False


@pytest.mark.parametrize(
    ("option", "words"),
    [
        ("--json=nowhere/a.json", "there is no folder nowhere"),
        ("--csv=.", "is a folder"),
        ("--report=small.mp4", "is the take itself"),
        ("--csv=-", "cannot go to standard output"),
        ("--csv=a.json", "--json and --csv both name a.json"),
    ],
)
def test_a_place_that_cannot_be_is_refused_before_the_work(
    run, small_take, known, option, words, tmp_path, monkeypatch
):
    monkeypatch.chdir(tmp_path)
    Path("small.mp4").symlink_to(small_take.path)
    monkeypatch.setattr("blinkspan.jobs.measure.open_take", None)  # the work would fail
    result = run("measure", "small.mp4", *known, "--json=a.json", option)
    assert result.exit_code == 2
    assert one_line(result.stderr, words)
    assert list(tmp_path.iterdir()) == [tmp_path / "small.mp4"]


@always_full
@pytest.mark.parametrize("option", ["--json", "--report"])
def test_a_full_device(run, small_take, known, option):
    result = run("measure", small_take.path, *known, f"{option}={FULL}")
    assert (result.exit_code, result.stdout) == (2, "")
    assert one_line(result.stderr, "the disk is full")


@always_full
@pytest.mark.parametrize("options", [["--json=-"], []])
def test_a_full_disk_behind_standard_output(small_take, known, options):
    with FULL.open("w") as full:
        done = subprocess.run(
            [*PROGRAM, "measure", small_take.path, *known, *options],
            stdout=full, stderr=subprocess.PIPE, text=True, check=False,
        )  # fmt: skip
    assert done.returncode == 2
    assert one_line(done.stderr, "no space left")


@pytest.mark.skipif(os.name == "nt", reason="no limit on the size of files there")
def test_no_half_report_where_the_disk_takes_no_more(small_take, known, tmp_path):
    done = subprocess.run(
        [*PROGRAM, "measure", small_take.path, *known, f"--report={tmp_path / 'a.html'}"],
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000)),
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stdout) == (2, "")
    assert one_line(done.stderr, "a.html: it could not be written")
    assert list(tmp_path.iterdir()) == []


def test_an_older_result_outlives_a_refusal(run, small_take, known, tmp_path):
    (tmp_path / "a.json").write_text("older")
    result = run(
        "measure", small_take.path, *known, "--lamp=4,4,12,12", f"--json={tmp_path}/a.json"
    )
    assert result.exit_code == 2
    assert (tmp_path / "a.json").read_text() == "older"


@pytest.mark.parametrize("step", ["pieces_of", "measure_presses", "take_pictures"])
def test_an_interruption_leaves_nothing(run, small_take, known, tmp_path, monkeypatch, step):
    def interrupted(*_args, **_more):
        raise KeyboardInterrupt

    monkeypatch.setattr(f"blinkspan.jobs.measure.{step}", interrupted)
    result = run("measure", small_take.path, *known, f"--report={tmp_path / 'a.html'}")
    assert (result.exit_code, result.stdout) == (130, "")
    assert result.stderr == "Interrupted; nothing is left half-written.\n"
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(os.name == "nt", reason="signals differ there")
def test_interrupting_the_demonstration_ends_its_processes_and_removes_what_was_begun(tmp_path):
    demo = subprocess.Popen(
        [*PROGRAM, "demo", tmp_path / "demo"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True,
    )  # fmt: skip
    give_up = time.monotonic() + 60
    while not list(tmp_path.glob("demo/.filming-*/.*.part")) and time.monotonic() < give_up:
        time.sleep(0.05)
    os.killpg(demo.pid, signal.SIGINT)  # as a terminal does
    out, err = demo.communicate(timeout=60)
    assert (demo.returncode, out) == (130, "")
    assert err == "Interrupted; nothing is left half-written.\n"
    assert [p.relative_to(tmp_path) for p in tmp_path.rglob("*")] == [
        Path("demo"), Path("demo/takes"),
    ]  # fmt: skip
    assert ends(demo.pid)
