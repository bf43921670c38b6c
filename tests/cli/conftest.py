"""The command line run inside the test, and the options a person would give for a staged take."""

import pytest
from click.testing import CliRunner, Result

from blinkspan.cli.main import main


@pytest.fixture
def run():
    """Return a function that runs a command line and gives exit code, output and errors."""

    def run_main(*words: object) -> Result:
        result = CliRunner().invoke(main, [str(word) for word in words])
        if result.exception is not None and not isinstance(result.exception, SystemExit):
            raise result.exception
        return result

    return run_main


@pytest.fixture
def known(small_take):
    """Return the options that say what is known of the small take."""
    truth = small_take.truth
    return [
        f"--lamp={box_text(truth.lamp)}",
        f"--watch={box_text(truth.watch)}",
        "--panel=" + ",".join(str(value) for corner in truth.panel.corners for value in corner),
        f"--refresh={truth.refresh_hz}",
        "--game-rate=60",
    ]


def box_text(box) -> str:
    return f"{box.x},{box.y},{box.width},{box.height}"
