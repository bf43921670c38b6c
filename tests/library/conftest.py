"""Let the tests of this folder share their invented takes."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))


@pytest.fixture
def library(tmp_path):
    """Return a new library with one study and one setup in it."""
    from invented_takes import LAG_SETUP, LAG_STUDY

    from blinkspan.library import Library

    with Library.init(tmp_path / "results", made_by="test") as made:
        made.add_study(LAG_STUDY)
        made.add_setup(LAG_STUDY.name, LAG_SETUP)
        yield made
