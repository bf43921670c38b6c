"""Kill -9 while working: whole job, a few rounds of the trial in kill.py."""

import os

import pytest
from kill import trial


@pytest.mark.skipif(not hasattr(os, "fork"), reason="the trial forks its workers")
def test_nothing_is_lost_when_the_worker_is_killed(tmp_path):
    held = trial(tmp_path, rounds=12, seed=7)
    assert sum(held.values()) > 0
