"""The list of presses and the bench, in a real browser; whole job on staged film, and exact.

What is kept is read back over the interface, not from the page that was told it.
"""

import re

import cv2
import numpy as np
import pytest

from blinkspan.jobs.batch import Failed, measure_study
from blinkspan.jobs.take_review import take_review
from web.small_library import STUDY, serving

AWAY = re.compile("ERR_CONNECTION_REFUSED|ERR_EMPTY_RESPONSE|ERR_CONNECTION_RESET")
PAGES = ("/takes/1/presses", "/takes/1/presses/2")
GRAVE = ("serious", "critical")


def until(page, holds):
    """Wait until something holds; the page's own policy forbids waiting by evaluated text."""
    for _ in range(500):
        if holds():
            return
        page.wait_for_timeout(20)
    raise AssertionError("it did not come to hold within ten seconds")


def ready(page):
    """Wait until the bench shows the frame its cursor is at."""
    until(page, lambda: page.get_attribute("#viewer", "data-shown") == str(cursor(page)))


def text(page, name):
    return page.text_content(f"[data-shows={name}]")


def open_bench(page, served, number):
    page.goto(f"{served}/takes/1/presses/{number}")
    ready(page)


def cursor(page):
    return int(page.get_attribute("#viewer", "aria-valuenow"))


def wait_saved(page):
    until(page, lambda: page.text_content("#saved").startswith("saved"))


def standing(library):
    return {each.kept.press.number: each.kept for each in take_review(library, 1).presses}


def test_a_take_is_reviewed_by_keyboard_alone_the_most_doubtful_first(page, served, library):
    review = take_review(library, 1)
    waiting = len(review.presses)
    page.goto(f"{served}/takes/1/presses")
    page.keyboard.press("n")
    page.wait_for_url(re.compile(r"/presses/\d+$"))
    ready(page)
    first = int(text(page, "number"))
    assert standing(library)[first].press.verdict == "doubtful"
    page.keyboard.press("x")  # the doubtful one has no answer to keep
    until(page, lambda: text(page, "number") != str(first))
    ready(page)
    moved = int(text(page, "number"))
    for key in ("ArrowRight", "ArrowRight", "Shift+R"):
        page.keyboard.press(key)
        ready(page)
    marked = cursor(page)
    for _ in range(waiting - 1):
        page.keyboard.press("a")
    until(page, lambda: text(page, "waiting") == "every press was looked at")
    wait_saved(page)
    after = standing(library)
    assert after[first].press.verdict == "rejected"
    assert {kept.press.verdict for number, kept in after.items() if number != first} == {"accepted"}
    assert all(kept.corrections for kept in after.values())
    assert {row.by for row in take_review(library, 1).corrections} == {"Mara"}
    trace = review.measurement.response_trace
    exposure_s = review.measurement.camera.exposure_s.value
    # the middle between the end of the exposure before and the end of the frame's own
    ends_s = (trace.start_s[marked - 1] + exposure_s, trace.start_s[marked] + exposure_s)
    kept = after[moved].press.response
    assert kept.value == pytest.approx(sum(ends_s) / 2, abs=1e-5)
    # GUM 4.3.7: anywhere within one frame's time
    assert kept.u == pytest.approx(1 / 240 / 12**0.5, rel=1e-3)


def test_a_correction_survives_a_reload_and_measuring_again(page, served, library):
    open_bench(page, served, 2)
    page.keyboard.press("ArrowRight")
    ready(page)
    page.keyboard.press("Shift+R")
    wait_saved(page)
    told = text(page, "response")
    kept = standing(library)[2].press.response
    page.reload()
    ready(page)
    assert text(page, "response") == told
    assert "response at" in text(page, "remarks")
    given = take_review(library, 1).measurement.regions
    setup = take_review(library, 1).setup.setup.name
    again = measure_study(library, STUDY, setup, regions=given, workers=1, again=True)
    assert not [event for event in again if isinstance(event, Failed)]
    assert standing(library)[2].press.response == kept


def test_a_nudge_is_saved_as_one_correction_and_undone_as_one(page, served, library):
    before = standing(library)[2].press
    open_bench(page, served, 2)
    for key in (".", ".", "Shift+."):
        page.keyboard.press(key)
    wait_saved(page)
    after = standing(library)[2]
    assert after.press.response.value - before.response.value == pytest.approx(1.2 / 240)
    assert len(after.corrections) == 1
    page.keyboard.press("z")
    page.wait_for_selector("[data-shows=remarks] .undone")
    assert standing(library)[2].press == before
    page.keyboard.press("y")
    page.wait_for_selector("[data-shows=remarks] li:not(.undone)")
    assert standing(library)[2].press == after.press


def test_the_summary_moves_with_a_correction(page, served):
    open_bench(page, served, 2)
    before = text(page, "summary")
    page.keyboard.press("x")
    until(page, lambda: text(page, "summary") != before)
    presses = page.request.get(f"{served}/api/takes/1/presses").json()
    assert text(page, "summary") == presses["summary"]["sentence"]


def test_two_tabs_do_not_overwrite_each_other(watched, served, library):
    one, two = watched.page, watched.page.context.new_page()
    open_bench(two, served, 2)
    open_bench(one, served, 2)
    one.keyboard.press("x")
    wait_saved(one)
    two.evaluate("document.querySelector('button[value=accepted]').click()")
    two.wait_for_selector("#trouble:not([hidden])")
    assert "corrected elsewhere" in two.text_content("#trouble")
    assert two.text_content("#saved") == "not saved"
    assert standing(library)[2].press.verdict == "rejected"
    two.get_by_role("button", name="Show press 2").click()
    assert text(two, "verdict") == "rejected"
    two.keyboard.press("a")  # having seen it, a person may say so again
    wait_saved(two)
    assert standing(library)[2].press.verdict == "accepted"


def test_the_nearest_frame_that_arrived_is_drawn_while_the_key_is_held(page, served):
    held, holding = [], True
    open_bench(page, served, 2)
    begin = cursor(page)
    page.wait_for_load_state("networkidle")
    last = begin + 8  # what is fetched ahead

    def slow(route):
        if holding and int(route.request.url.rpartition("/")[2]) > last:
            held.append(route)
        else:
            route.continue_()

    page.route(re.compile(r"/frames/\d+$"), slow)
    page.route(re.compile(r"/preview$"), lambda route: route.fulfill(status=204))
    page.keyboard.down("ArrowRight")
    for _ in range(11):
        page.keyboard.down("ArrowRight")  # repeats, as a held key does
    page.keyboard.up("ArrowRight")
    until(page, lambda: page.get_attribute("#viewer", "data-shown") == str(last))
    assert cursor(page) == begin + 12
    assert "on its way" in page.text_content("#where")
    holding = False
    for route in held:
        route.continue_()
    ready(page)
    assert cursor(page) == begin + 12


def test_a_jump_shows_the_small_picture_of_its_frame_until_the_sharp_one_is_there(
    page, served, library
):
    open_bench(page, served, 2)
    until(page, lambda: preview(page, served, 3).status == 200)
    held = []
    page.route(re.compile(r"/frames/\d+$"), lambda route: held.append(route))
    before = cursor(page)
    page.locator("#traces").click(position={"x": 40, "y": 60})
    until(page, lambda: cursor(page) != before)
    until(page, lambda: page.get_attribute("#viewer", "data-shown") == str(cursor(page)))
    assert page.get_attribute("#viewer", "data-sharp") == "false"
    assert "not yet sharp" in page.text_content("#where")
    small = seen(page)
    for route in held:
        route.continue_()
    until(page, lambda: page.get_attribute("#viewer", "data-sharp") == "true")
    assert page.get_attribute("#viewer", "data-shown") == str(cursor(page))
    page.wait_for_timeout(100)
    assert np.abs(seen(page) - small).mean() < 4.0  # the same frame, only sharper


def preview(page, served, frame):
    return page.request.get(f"{served}/api/takes/1/frames/{frame}/preview")


def seen(page):
    """Return what the viewer's canvas shows, in grey."""
    picture = page.locator("#viewer canvas").screenshot()
    return cv2.imdecode(np.frombuffer(picture, np.uint8), cv2.IMREAD_GRAYSCALE).astype(float)


def test_a_server_that_went_away_is_told_and_nothing_is_lost(watched, library):
    page = watched.page
    with serving(library) as served:
        port = int(served.rpartition(":")[2])
        open_bench(page, served, 2)
        page.wait_for_load_state("networkidle")
    page.keyboard.press("x")
    page.wait_for_selector("#trouble:not([hidden])")
    assert "does not answer" in page.text_content("#trouble")
    assert page.text_content("#saved") == "saving…"
    with serving(library, port):
        page.wait_for_selector("#trouble", state="hidden")
        wait_saved(page)
        page.goto("about:blank")
    assert standing(library)[2].press.verdict == "rejected"
    assert len(take_review(library, 1).corrections) == 1
    watched.complaints = [each for each in watched.complaints if not AWAY.search(each)]


def test_without_a_response_the_picture_after_lamp_on_is_shown(page, served):
    open_bench(page, served, 2)
    strip = page.locator("[data-strip=response]")
    cells = strip.get_by_role("button")
    assert "Around the response, ms from lamp-on" in strip.text_content()
    assert strip.locator(".onset").count() == 1
    page.keyboard.press("o")
    wait_saved(page)
    page.reload()
    until(page, lambda: cells.count() == 6)
    assert "No response seen; ms from lamp-on" in strip.text_content()
    assert strip.locator(".onset").count() == 0
    told = [
        float(ms.replace("\N{MINUS SIGN}", "-"))
        for ms in strip.locator(".figure").all_inner_texts()
    ]
    assert told[0] < 60.0 < told[-1]
    assert np.diff(told) == pytest.approx(4e3 / 240, abs=0.11)


def test_the_bench_is_whole_without_scripts(browser, served, library):
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{served}/takes/1/presses/2")
    pictures = page.locator("img")
    assert pictures.count() == 13  # the frame and two strips of six
    assert page.get_by_role("cell", name="ms").count() >= 2
    page.get_by_label("Frame", exact=True).fill("100")
    page.get_by_label("Note").fill("seen so")
    page.get_by_role("button", name="Lamp goes on").click()
    assert "seen so" in text(page, "remarks")
    page.get_by_role("button", name="Reject").click()
    assert standing(library)[2].press.verdict == "rejected"
    context.close()


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("path", PAGES)
def test_no_page_has_a_grave_fault_of_accessibility(page, served_small, path, theme):
    axe = pytest.importorskip("axe_core_python.sync_playwright").Axe()
    page.emulate_media(color_scheme=theme)
    page.goto(served_small + path)
    page.wait_for_load_state("networkidle")
    faults = axe.run(page)["violations"]
    assert [(f["id"], f["nodes"][0]["html"]) for f in faults if f["impact"] in GRAVE] == []


@pytest.mark.parametrize("path", PAGES)
def test_no_page_is_wider_than_its_window_also_at_double_text(page, served_small, path):
    for width in (800, 1280):
        page.set_viewport_size({"width": width, "height": 800})
        page.goto(served_small + path)
        page.evaluate("document.documentElement.style.setProperty('font-size', '200%')")
        assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_nothing_of_the_bench_is_cut_off_at_double_text(page, served_small):
    open_bench(page, served_small, 2)
    page.evaluate("document.documentElement.style.setProperty('font-size', '200%')")
    for width in (800, 1280, 1920):
        page.set_viewport_size({"width": width, "height": 900})
        page.wait_for_timeout(100)
        cut = page.evaluate(
            """() => [...document.querySelectorAll(".bench > *, .bench .card, .cells button")]
                .filter((part) => part.scrollWidth > part.clientWidth + 1)
                .map((part) => `${part.tagName} ${part.className}`)"""
        )
        assert cut == [], width


def test_where_the_viewer_is_is_spoken(page, served_small):
    open_bench(page, served_small, 2)
    page.keyboard.press("ArrowRight")
    frame = cursor(page)
    until(page, lambda: page.text_content("#spoken").startswith(f"frame {frame} "))
    assert page.get_attribute("#viewer", "aria-valuetext").startswith(f"frame {frame},")


def test_a_press_that_is_not_there_is_told(watched, served_small):
    answer = watched.page.goto(f"{served_small}/takes/1/presses/999")
    assert answer.status == 404
    assert "has no press 999" in watched.page.text_content("main")
    watched.complaints = [each for each in watched.complaints if "404" not in each]
