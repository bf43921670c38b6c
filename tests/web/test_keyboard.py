"""The whole job by keyboard alone, in a real browser: from a clip to a report; whole job.

Nothing is clicked, filled in or focused by the test: every place is reached with the Tab key
and everything is done with keys, as WCAG 2.2, 2.1.1 asks of a page.
"""

import re

import pytest

from blinkspan.jobs.review import listed_takes
from blinkspan.jobs.take_review import take_review
from web.small_library import STUDY
from web.test_bench import ready, text, until

LONG_MS = 60_000
_MOST_STOPS = 80

# What a screen reader would say of the place that has the focus.
_NAME = """() => {
  const at = document.activeElement;
  const label = at.labels?.[0]?.innerText;
  return (at.getAttribute("aria-label") ?? label ?? at.innerText ?? "").trim();
}"""


def tab_to(page, name):
    """Press Tab until the focus is at a place whose name begins so."""
    passed = []
    for _ in range(_MOST_STOPS):
        page.keyboard.press("Tab")
        passed.append(page.evaluate(_NAME))
        if passed[-1].startswith(name):
            return
    raise AssertionError(f"Tab does not lead to {name!r}, but past {passed}")


def enter(page, name):
    """Go to a place and press Enter there."""
    tab_to(page, name)
    page.keyboard.press("Enter")


def write(page, name, words):
    """Go to a field and write into it, in place of what is there."""
    tab_to(page, name)
    page.keyboard.press("Control+a")
    page.keyboard.type(words)


def saved(page, name):
    """Return the content of the file that Enter at a place saves."""
    with page.expect_download() as coming:
        enter(page, name)
    return coming.value.path().read_bytes()


def test_from_a_clip_to_a_report_by_keyboard_alone(page, served, library, third_clip):
    expect = pytest.importorskip("playwright.sync_api").expect
    page.goto(served)
    with page.expect_file_chooser() as chooser:
        enter(page, "Choose clips")
    chooser.value.set_files(third_clip)  # no setup is named yet, so that it waits
    until(page, lambda: page.evaluate(_NAME).startswith("Setup"))
    page.keyboard.type("Corvid 30")
    enter(page, "Bring in third.mp4")
    expect(page.locator("#tasks")).to_contain_text("presses measured", timeout=LONG_MS)
    enter(page, "third.mp4")
    page.wait_for_url(re.compile(r"/takes/\d+$"))
    take_id = int(page.url.rpartition("/")[2])

    tab_to(page, "lamp, whole box")
    for key in ("ArrowLeft", "Shift+ArrowUp", "ArrowRight", "Shift+ArrowDown"):
        page.keyboard.press(key)  # away and back
    enter(page, "Keep these places")
    expect(page.locator("#regions-told")).to_contain_text("Kept")
    write(page, "Game’s rate", "59.94")
    write(page, "Platform", "Corvid")
    write(page, "Mode", "quality 30")
    enter(page, "Keep the setup")
    expect(page.locator("#setup-told")).to_contain_text("Kept")
    tab_to(page, "To the main part")
    with page.expect_event("load", timeout=LONG_MS):  # the page shows what was measured
        enter(page, "Measure again")
    measured = take_review(library, take_id)
    assert measured.measurement.display.game_rate_hz == 59.94
    assert measured.setup.setup.conditions.mode == "quality 30"
    assert measured.given_regions.lamp == measured.measurement.regions.lamp

    enter(page, "Review")
    page.wait_for_url(re.compile(r"/presses$"))
    page.keyboard.press("n")
    page.wait_for_url(re.compile(r"/presses/\d+$"))
    ready(page)
    for _ in measured.presses:
        page.keyboard.press("a")
    until(page, lambda: text(page, "waiting") == "every press was looked at")
    until(page, lambda: page.text_content("#saved").startswith("saved"))
    assert all(each.kept.corrections for each in take_review(library, take_id).presses)

    enter(page, STUDY)
    page.wait_for_url(re.compile(r"/studies/\d+$"))
    assert saved(page, "CSV").startswith(b"study,")
    assert b"<html" in saved(page, "Save the report")
    enter(page, "Compare the ticked setups")
    page.wait_for_url(re.compile(r"/compare\?"))
    assert page.get_by_role("article").count() == 3  # three setups, three pairs
    assert len(listed_takes(library, STUDY)) == 3


def test_a_chart_is_one_stop_and_the_arrow_keys_go_from_dot_to_dot(page, served_small):
    page.goto(f"{served_small}/studies/1")
    tab_to(page, "press")
    first = page.evaluate(_NAME)
    for key, back in (("ArrowRight", "ArrowLeft"), ("ArrowDown", "ArrowUp")):
        page.keyboard.press(key)
        assert page.evaluate(_NAME) != first
        page.keyboard.press(back)
    page.keyboard.press("Tab")
    assert not page.evaluate(_NAME).startswith("press")
    page.keyboard.press("Shift+Tab")
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile(r"/takes/\d+/presses/\d+$"))
