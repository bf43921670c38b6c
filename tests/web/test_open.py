"""The command that opens the page; whole job in a process of its own."""

import re
import signal
import socket
import subprocess
import sys
import time
from contextlib import contextmanager

import httpx2
import pytest
from click.testing import CliRunner

from blinkspan.cli.main import main
from blinkspan.jobs.review import listed_takes
from web.small_library import STUDY

PATIENCE_S = 60.0
TOKEN = "a-token-of-some-length"


@contextmanager
def opened(library, *options):
    program = "from blinkspan.cli.main import main; main()"
    command = [sys.executable, "-c", program, "open", str(library), "--no-browser", *options]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        try:
            yield process, re.search(r"http://\S+", process.stdout.readline()).group()
        finally:
            process.kill()


def test_the_page_is_on_this_machine_until_ctrl_c(small_library):
    with opened(small_library) as (process, address):
        assert address.startswith("http://127.0.0.1:")
        assert "Lantern Row" in httpx2.get(address).text
        process.send_signal(signal.SIGINT)
        assert process.wait(20) in (0, 130, -signal.SIGINT)


def test_a_program_ended_while_it_measures_leaves_all_as_it_was_and_measures_again(library):
    order = {"study": STUDY, "take_id": 1, "again": True}
    before = [(each.take.id, each.presses) for each in listed_takes(library, STUDY)]
    with opened(library) as (process, address):
        assert httpx2.post(f"{address}api/work/measure", json=order).status_code == 202
        end = time.monotonic() + PATIENCE_S
        while (task := httpx2.get(f"{address}api/work").json()[0])["clips"][0]["share"] is None:
            assert time.monotonic() < end, task
            time.sleep(0.05)
        process.kill()
        process.wait(20)
    with opened(library) as (_, address):
        assert httpx2.get(f"{address}api/work").json() == []
        assert [(each.take.id, each.presses) for each in listed_takes(library, STUDY)] == before
        assert httpx2.get(f"{address}takes/1/presses").status_code == 200
        assert httpx2.post(f"{address}api/work/measure", json=order).json()["of"] == 1


def test_the_printed_address_carries_the_token(small_library):
    with opened(small_library, "--token", TOKEN) as (_, address):
        assert address.endswith(f"?token={TOKEN}")
        assert httpx2.get(address.partition("?")[0]).status_code == 401
        with httpx2.Client(follow_redirects=True) as visitor:
            assert "Lantern Row" in visitor.get(address).text


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (["--host", "0.0.0.0"], "needs a token"),
        (["--host", "203.0.113.7", "--token", TOKEN], "cannot be used"),
        (["--token", "short"], "can be guessed"),
        (["--clips", "nowhere"], "does not exist"),
        (["--port", "99999"], "range"),
    ],
)
def test_what_cannot_be_is_told_in_one_line(small_library, options, told):
    result = CliRunner().invoke(main, ["open", str(small_library), "--no-browser", *options])
    assert result.exit_code == 2
    assert told in result.output


def test_a_port_in_use_and_a_folder_that_is_no_library_are_told(small_library, tmp_path):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        result = CliRunner().invoke(
            main, ["open", str(small_library), "--no-browser", "--port", port]
        )
    assert (result.exit_code, "cannot be used" in result.output) == (2, True)
    result = CliRunner().invoke(main, ["open", str(tmp_path), "--no-browser"])
    assert (result.exit_code, "is not a library" in result.output) == (2, True)


def test_the_first_page_waits_for_nothing_that_only_measuring_needs():
    late = ("scipy.stats", "scipy.optimize", "matplotlib", "alembic", "blinkspan.jobs.measure")
    program = (
        "import sys, pathlib; from blinkspan.web.launch import create_app; "
        "create_app(pathlib.Path('nowhere')); "
        f"print([name for name in {late} if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True)
    assert (done.stdout.strip(), done.stderr) == ("[]", "")
