"""No page speaks of an option of the command line; exact."""

import re
from importlib import import_module
from inspect import getsource

import pytest

from blinkspan.web.page_words import on_page

# What tells of takes and setups on a page; the commands' own words are in blinkspan.cli.
TELLING = (
    "jobs.explain",
    "jobs.measure",
    "jobs.plan",
    "jobs.retests",
    "jobs.setups",
    "jobs.title_modes",
    "presses.measuring",
    "presses.slow_motion",
    "rig.inspecting",
    "traces.lamp",
    "traces.proposal",
)
OPTION = re.compile(r"(?<![\w-])--[a-z][a-z-]+")


@pytest.mark.parametrize("name", TELLING)
def test_every_option_that_a_job_names_has_words_on_the_page(name):
    told = getsource(import_module(f"blinkspan.{name}"))
    assert OPTION.search(told)  # else it need not stand in the list
    assert OPTION.findall(on_page(told)) == []


def test_a_refusal_and_a_note_are_told_in_those_words(client):
    answer = client.post("/api/work/measure", json={"study": "none", "capture_rate_hz": 0})
    assert answer.status_code == 422
    given = {"study": "Lantern Row: does the patch help?", "take_id": 1, "capture_rate_hz": 5.0}
    assert client.post("/api/work/measure", json=given).json()["of"] == 1
