"""The library page and the page of a take in a real browser; whole job."""

import base64
import re
import shutil

import pytest

from blinkspan.jobs.review import listed_takes
from web.small_library import SETUPS, STUDY, serving

LONG_MS = 60_000


@pytest.fixture
def sync(page):
    return pytest.importorskip("playwright.sync_api").expect


def test_cards_tell_question_progress_and_finding(page, served_small, sync):
    page.goto(served_small)
    card = page.get_by_role("article")
    sync(card).to_contain_text("2 of 2 takes measured")
    sync(card).to_contain_text(re.compile(r"The medians of 2 setups run from \d+\.\d ms"))
    card.get_by_text("Takes", exact=True).click()
    sync(card.get_by_role("link", name="small.mp4")).to_be_visible()


def test_a_search_finds_setups_by_any_of_their_conditions(page, served_small, sync):
    page.goto(served_small)
    page.get_by_label("Find a setup").fill("pier 1.3")
    page.keyboard.press("Enter")
    sync(page.get_by_role("heading", name="1 setup with")).to_be_visible()
    sync(page.get_by_role("link", name=SETUPS[1])).to_be_visible()


def test_a_clip_is_brought_in_and_measured_from_the_page(page, served, library, third_clip, sync):
    page.goto(served)
    page.get_by_label("Setup", exact=False).first.wait_for()
    form = page.locator("#bring-form")
    form.locator("[name=study]").fill(STUDY)
    form.locator("[name=setup]").fill("Corvid 30")
    page.locator("#files").set_input_files(third_clip)
    sent = page.locator("#sent")
    sync(sent).to_contain_text("third.mp4: added", timeout=LONG_MS)
    work = page.locator("#tasks")
    sync(work).to_contain_text("Measure Corvid 30")
    sync(work).to_contain_text(re.compile(r"\d presses measured"), timeout=LONG_MS)
    card = page.get_by_role("article")  # it follows by itself
    sync(card).to_contain_text(re.compile("3 setups · 3 of 3 takes measured"))
    [take] = [each for each in listed_takes(library, STUDY) if each.setup == "Corvid 30"]
    assert take.presses > 0


def test_clips_that_are_dropped_are_brought_in_and_others_passed_over(
    page, served, library, third_clip, sync
):
    page.goto(served)
    form = page.locator("#bring-form")
    form.locator("[name=study]").fill(STUDY)
    form.locator("[name=setup]").fill("dropped")
    form.locator("[name=measure]").uncheck()
    held = page.evaluate_handle(
        """(coded) => {
            const bytes = Uint8Array.from(atob(coded), (each) => each.charCodeAt(0));
            const dropped = new DataTransfer();
            dropped.items.add(new File([bytes], "card 7.mp4"));
            dropped.items.add(new File(["words"], "notes.txt"));
            return dropped;
        }""",
        base64.b64encode(third_clip.read_bytes()).decode(),
    )
    page.dispatch_event("#drop", "dragover", {"dataTransfer": held})
    page.dispatch_event("#drop", "drop", {"dataTransfer": held})
    sync(page.locator("#sent li")).to_have_text(["card 7.mp4: added"], timeout=LONG_MS)
    [take] = [each for each in listed_takes(library, STUDY) if each.setup == "dropped"]
    assert (take.take.name, take.presses) == ("card 7.mp4", None)


def test_a_folder_is_watched_from_the_page_until_it_is_cancelled(
    watched, library, third_clip, tmp_path, sync
):
    card = tmp_path / "card"
    card.mkdir()
    page = watched.page
    with serving(library, folders=(card,)) as served:
        page.goto(served)
        page.locator("#bring-form [name=setup]").fill("watched")
        page.get_by_role("button", name=re.compile("^Watch")).click()
        work = page.locator("#tasks")
        sync(work).to_contain_text("Watch card for watched")
        # progress between press and release must not put another button in its place
        cancel = page.get_by_role("button", name="Cancel").element_handle()
        shutil.copy(third_clip, card / "arrived.mp4")
        sync(work.get_by_role("link", name="arrived.mp4")).to_be_visible(timeout=LONG_MS)
        sync(page.get_by_role("article")).to_contain_text(
            re.compile("3 setups · 3 of 3 takes measured"), timeout=LONG_MS
        )
        cancel.click()
        sync(work).to_contain_text("cancelled; what was kept stays", timeout=LONG_MS)
        page.goto("about:blank")
    [take] = [each for each in listed_takes(library, STUDY) if each.setup == "watched"]
    assert take.take.name == "arrived.mp4"


def test_an_answer_that_comes_late_does_not_bring_ended_work_back(watched, library, tmp_path, sync):
    card = tmp_path / "card"
    card.mkdir()
    page = watched.page
    routes, late = [], []

    def hold_the_first(route) -> None:
        routes.append(route)  # before fetching: meanwhile the page may ask again
        if len(routes) == 1:
            late.append((route, route.fetch()))
        else:
            route.continue_()

    with serving(library, folders=(card,)) as served:
        page.goto(served)
        page.route("**/api/work", hold_the_first)
        page.locator("#bring-form [name=setup]").fill("watched")
        page.get_by_role("button", name=re.compile("^Watch")).click()
        work = page.locator("#tasks")
        page.get_by_role("button", name="Cancel").click()
        sync(work).to_contain_text("cancelled; what was kept stays")
        [(route, answer)] = late
        assert answer.json()[0]["stage"] in ("waiting", "running")
        with page.expect_event("requestfinished"):
            route.fulfill(response=answer)
        page.wait_for_timeout(500)  # time to draw what it says
        sync(work).to_contain_text("cancelled; what was kept stays")
        page.goto("about:blank")


def test_what_is_no_film_is_told_on_the_page(watched, served, tmp_path, sync):
    page = watched.page
    false = tmp_path / "false.mp4"
    false.write_bytes(b"not a film")
    page.goto(served)
    page.locator("[name=setup]").fill("Corvid 30")
    page.locator("#files").set_input_files(false)
    told = page.locator("#sent")
    sync(told).to_contain_text("false.mp4:")
    sync(told.locator(".bad")).to_be_visible(timeout=LONG_MS)
    watched.complaints = [c for c in watched.complaints if "422" not in c]


def test_regions_are_moved_by_keys_and_kept(page, served, library, sync):
    page.goto(f"{served}/takes/1")
    lamp = page.get_by_role("button", name=re.compile("^lamp, top left"))
    before = [int(part) for part in re.findall(r"\d+", lamp.get_attribute("aria-label"))]
    lamp.focus()
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("Shift+ArrowUp")
    sync(page.locator("#spoken")).to_contain_text(f"at {before[0] - 1}, {before[1] - 10}")
    page.get_by_role("button", name="Keep these places").click()
    sync(page.locator("#regions-told")).to_contain_text("Kept")
    page.reload()
    again = page.get_by_role("button", name=re.compile("^lamp, top left")).get_attribute(
        "aria-label"
    )
    assert f"at {before[0] - 1}, {before[1] - 10}" in again


def test_the_trace_follows_a_box_that_is_dragged(page, served_small, sync):
    page.goto(f"{served_small}/takes/1")
    path = page.locator("#lamp-trace path")
    path.wait_for(state="attached")
    before = path.get_attribute("d")
    page.evaluate("document.querySelector('.shape.lamp').scrollIntoView({block: 'center'})")
    box = page.locator(".shape.lamp").bounding_box()
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.down()
    page.mouse.move(box["x"] + 120, box["y"] - 40, steps=5)
    page.mouse.up()
    page.wait_for_timeout(300)
    sync(path).not_to_have_attribute("d", before)


def test_the_setup_is_kept_and_a_second_tab_is_told(page, served, sync):
    page.goto(f"{served}/takes/1")
    other = page.context.new_page()
    other.goto(f"{served}/takes/1")
    for tab, spot, told in ((page, "second pier", "Kept."), (other, "third pier", "changed")):
        tab.locator("[name=spot]").fill(spot)
        tab.get_by_role("button", name="Keep the setup").click()
        sync(tab.locator("#setup-told")).to_contain_text(told)
    page.reload()
    assert page.locator("[name=spot]").input_value() == "second pier"


def test_a_program_that_was_ended_is_told_and_its_return_is_noticed(watched, library, sync):
    page = watched.page
    with serving(library) as address:
        page.goto(address)
        sync(page.locator("#tasks")).to_contain_text("Nothing is being measured")
        port = int(address.rpartition(":")[2])
    sync(page.locator("#tasks")).to_contain_text("does not answer", timeout=15_000)
    with serving(library, port):
        sync(page.locator("#tasks")).to_contain_text("Nothing is being measured", timeout=15_000)
    watched.complaints = [c for c in watched.complaints if "ERR_CONNECTION_REFUSED" not in c]


def test_the_rig_is_inspected_in_plain_words(page, served, sync):
    page.goto(f"{served}/takes/1")
    page.get_by_role("button", name="Inspect the whole take").click()
    told = page.locator("#inspection")
    sync(told.get_by_text("refresh", exact=True)).to_be_visible(timeout=LONG_MS)
    sync(told).to_contain_text("6 presses")


def test_a_take_whose_film_is_gone_opens_and_says_so(watched, served, library, sync):
    page = watched.page
    for clip in (library / "media").rglob("*.mp4"):
        clip.unlink()
    page.goto(f"{served}/takes/1")
    sync(page.get_by_text("The film of this take cannot be shown")).to_contain_text("put it back")
    sync(page.get_by_role("link", name=re.compile("Review 6 presses"))).to_be_visible()
    page.locator("[name=spot]").fill("second pier")
    page.get_by_role("button", name="Keep the setup").click()
    sync(page.locator("#setup-told")).to_contain_text("Kept.")
    page.goto(f"{served}/takes/1/presses/2")
    sync(page.get_by_text("The film of this take cannot be shown")).to_be_visible()
    sync(page.locator("#trouble")).to_contain_text("is gone from")
    page.keyboard.press("x")  # what is held of a press can be said without its frames
    sync(page.locator("#saved")).to_contain_text("saved")
    watched.complaints = [c for c in watched.complaints if "404" not in c]
