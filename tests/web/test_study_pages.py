"""Pages of a study, a setup and the gear: whole job, against what the command line says.

The documents of the library's takes are what measuring the clips alone gives; they
are written to files, and the numbers of a page are held against what the commands
make of those files. Exports are read by other programs: pandas and Polars the
tables, frictionless the package.
"""

import io
import json
import re
import zipfile
from dataclasses import asdict
from html import unescape
from pathlib import Path

import frictionless
import pandas as pd
import polars as pl
import pytest
from click.testing import CliRunner
from fastapi.testclient import TestClient

from blinkspan.cli.main import main
from blinkspan.jobs.exchange import import_study
from blinkspan.jobs.library import init
from blinkspan.jobs.measure import measure_take
from blinkspan.jobs.measure_settings import MeasureSettings
from blinkspan.jobs.review import correct
from blinkspan.jobs.study_takes import measured_study
from blinkspan.library import Library
from blinkspan.presses.press import Reason, Verdict
from blinkspan.publish import words
from blinkspan.publish.document import to_json
from blinkspan.study.setup import Conditions, Setup, Study
from blinkspan.web.answers import Answers
from blinkspan.web.app import create_app

from .conftest import SETUPS, STUDY

PAGES = (
    "/studies/1",
    "/studies/1?setup=1",
    "/studies/1/compare",
    "/studies/1/plan",
    "/studies/1/time",
    "/studies/1/retests",
    "/setups/1",
    "/profiles",
)
GRAVE = ("serious", "critical")


def text_of(answer):
    """Return what a person reads on a page, in one line."""
    assert answer.status_code == 200, answer.text
    plain = re.sub(r"<(style|script)\b.*?</\1>", " ", answer.text, flags=re.DOTALL)
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", plain)).split())


@pytest.fixture(scope="session")
def files(small_library, tmp_path_factory):
    """Return the takes' documents as files that the commands read, in the setups' order."""
    folder = tmp_path_factory.mktemp("documents")
    paths = []
    for take in measured_study(small_library, 1).of([1, 2]):
        path = folder / f"{take.setup.setup.name}.json"
        path.write_bytes(to_json(take.source.document))
        paths.append(str(path))
    return paths


def said_by(command, *arguments):
    ended = CliRunner().invoke(main, [command, *arguments, "--json", "-"])
    assert ended.exit_code == 0, ended.output
    return json.loads(ended.stdout)


def test_the_library_gives_the_document_that_measuring_the_clip_gives(small_library, small_take):
    kept = measured_study(small_library, 1).of([1])[0].source.document
    truth = small_take.truth
    *_, measured = measure_take(
        small_take.path,
        MeasureSettings(
            lamp=truth.lamp,
            panel=truth.panel,
            watch=truth.watch,
            game_rate_hz=truth.game_rate_hz,
            capture_rate_hz=240.0,
        ),
        {
            "platform": "Corvid",
            "title": "Lantern Row",
            "build": "1.2",
            "mode": "performance 60",
            "action": "jump",
            "spot": "first pier",
            "link": "wired",
        },
        threads=1,
    )
    assert json.loads(to_json(kept)) == json.loads(to_json(measured.document))


def test_the_study_says_what_summary_says(client, files):
    named = [part for name in SETUPS for part in ("--name", name)]
    page = text_of(client.get("/studies/1"))
    for setup in said_by("summary", *files, *named)["setups"]:
        summary = setup["summary"]
        median = summary["median_ms"]
        row = " ".join(
            (
                setup["name"],
                str(summary["n"]),
                words.number(median["value"]),
                words.interval((median["low"], median["high"]), ""),
                words.number(summary["median_game_frames"]["value"], 2),
                words.interval((summary["low_ms"], summary["high_ms"]), ""),
                words.number(summary["spread_ms"]),
            )
        )
        assert row in page
        for note in summary["notes"]:
            assert note in page


def test_the_comparison_says_what_compare_says(client, files):
    named = [part for name in SETUPS for part in ("--name", name)]
    for asked, margin in (("margin=game", "game"), ("margin=own&ms=1,5", "1.5")):
        said = said_by("compare", *files, *named, "--margin", margin, "--no-plan")
        page = text_of(client.get(f"/studies/1/compare?{asked}"))
        (one,) = said["comparisons"]
        assert one["sentence"].partition(" The doubt of")[0] in page
        assert f"{one['p_difference']:.4f}" in page


def test_presses_that_would_decide_are_worked_out_once_and_said(client, files):
    named = [part for name in SETUPS for part in ("--name", name)]
    page = client.get("/studies/1/compare?margin=own&ms=1.5").text
    assert "How many presses would decide?" in page
    (onward,) = re.findall(r'data-outlook href="([^"]*)"', page)
    said = said_by("compare", *files, *named, "--margin", "1.5")["comparisons"][0]
    assert said["answer"] == "undecided"
    assert said["sentence"].split(". ")[-1].rstrip(".") in text_of(client.get(unescape(onward)))
    # it is at hand now, so the page has it without being asked
    assert (
        "How many presses would decide?"
        not in client.get("/studies/1/compare?margin=own&ms=1.5").text
    )


def test_where_the_time_goes_is_what_explain_says(client, files):
    said = said_by("explain", *files)
    page = text_of(client.get("/studies/1/time"))
    for part, ms in said["times"][0]["parts_ms"].items():
        assert f"{part} {words.number(ms)}" in page
    assert f"mean of the presses {words.number(said['times'][0]['seen_ms'])}" in page
    # both setups are of one mode, so there is no ladder, and the page says why
    assert "a ladder needs two or more frame rates" in page
    wireless = text_of(client.get("/studies/1/time?link=wireless"))
    assert "its period is not known" in wireless


def test_retests_are_what_retests_says(client, files, library):
    with Library.open(library) as opened:
        day = opened.takes()[0].added_at.date().isoformat()
    said = said_by("retests", *files, "--on", day, "--on", day)
    page = text_of(client.get("/studies/1/retests"))
    for shot in said["shots"]:
        mean = re.escape(words.number(shot["mean_ms"]["value"]))
        assert re.search(rf"{re.escape(shot['label'])} \S+ {mean} ", page)
    assert words.number(said["changes"][0]["shift_ms"]["value"]) in page


def test_a_plan_is_what_plan_says(client, files):
    said = said_by("plan", files[0], "--width", "30")
    page = text_of(client.get("/studies/1/plan?pilot=1&width=30"))
    assert f"{said['plans'][0]['presses']} accepted presses of each setup" in page


def test_every_dot_leads_to_a_press_of_its_take(client):
    for path in ("/studies/1", "/setups/1", "/setups/2"):
        hrefs = re.findall(r'<a href="([^"]*)" aria-label="press', client.get(path).text)
        assert hrefs
        for href in hrefs:
            take, number = re.fullmatch(r"/takes/(\d+)/presses/(\d+)", href).groups()
            assert client.get(href).status_code == 200
            assert client.get(f"/takes/{take}/presses/99").status_code == 404
            assert f"Press {number}" in client.get(href).text


def test_dots_are_the_presses_with_a_time(client):
    kept = client.get("/api/takes/1/presses").json()["presses"]
    drawn = [press for press in kept if press["span"] is not None]
    page = client.get("/setups/1").text
    told = re.findall(r'aria-label="press (\d+) of [^:]*: ([^,]*), (\w+)"', page)
    assert told == [
        (str(p["number"]), words.milliseconds(p["span"]["ms"]), p["verdict"]) for p in drawn
    ]


def test_a_correction_moves_every_page(client, library):
    kept = client.get("/api/takes/1/presses").json()["presses"]
    first = next(p for p in kept if p["verdict"] == "accepted")
    before = text_of(client.get("/studies/1/compare"))
    accepted = sum(p["verdict"] == "accepted" for p in kept)
    assert f"median of {accepted} accepted" in text_of(client.get("/setups/1"))
    correct(
        library,
        first["id"],
        by="Mara",
        why="a reflection",
        verdict=Verdict.DOUBTFUL,
        reason=Reason.WEAK_RESPONSE,
    )
    page = unescape(client.get("/setups/1").text)
    assert f"median of {accepted - 1} accepted" in page
    assert words.REASONS[Reason.WEAK_RESPONSE] in page
    assert f'href="/takes/1/presses/{first["number"]}">Review' in page
    assert text_of(client.get("/studies/1/compare")) != before


def test_the_setup_names_conditions_runs_and_what_leads_the_doubt(client, files):
    page = text_of(client.get("/setups/1"))
    for word in asdict(Conditions("Corvid", "Lantern Row", "1.2", "performance 60")).values():
        assert word in page
    terms = {}
    for press in json.loads(Path(files[0]).read_text())["presses"]:
        if press["span_ms"] is not None:
            for term in press["budget"]["terms"]:
                terms[term["name"]] = terms.get(term["name"], 0.0) + term["u_ms"] ** 2
    leading = max(terms, key=terms.get)
    assert f"{leading.capitalize()} leads, with" in page


def test_only_the_chosen_setups_are_shown(client):
    page = client.get("/studies/1?setup=2").text
    assert page.count(" checked") == 1
    assert 'aria-label="press' in page
    assert not re.search(r'href="/takes/1/presses/\d+" aria-label', page)
    assert client.get("/studies/1?setup=99").status_code == 404
    assert "two or more setups" in text_of(client.get("/studies/1/compare?setup=2"))


def test_tables_are_read_by_other_programs(client):
    kept = [client.get(f"/api/takes/{take}/presses").json()["presses"] for take in (1, 2)]
    spans = [p["span"] and p["span"]["ms"] for presses in kept for p in presses]
    answer = client.get("/studies/1/presses.csv")
    assert answer.headers["content-disposition"].startswith("attachment; filename=")
    by_pandas = pd.read_csv(io.BytesIO(answer.content))
    assert by_pandas["span_ms"].isna().tolist() == [ms is None for ms in spans]
    known = [ms for ms in spans if ms is not None]
    assert by_pandas["span_ms"].dropna().tolist() == pytest.approx(known)
    assert set(by_pandas["build"].astype(str)) == {"1.2", "1.3"}
    by_json = json.loads(client.get("/studies/1/presses.json").content)
    assert [row["span_ms"] for row in by_json] == pytest.approx(spans)
    by_polars = pl.read_parquet(io.BytesIO(client.get("/studies/1/presses.parquet").content))
    assert by_polars["span_ms"].to_list() == pytest.approx(spans)
    assert client.get("/studies/1/presses.xls").status_code == 404


def test_the_package_is_valid_and_makes_the_study_again(client, tmp_path):
    packed = client.get("/studies/1/package.zip").content
    with zipfile.ZipFile(io.BytesIO(packed)) as archive:
        archive.extractall(tmp_path / "package")
    assert frictionless.validate(str(tmp_path / "package" / "datapackage.json")).valid
    init(tmp_path / "other")
    assert import_study(tmp_path / "other", tmp_path / "package") == STUDY
    with TestClient(create_app(tmp_path / "other"), base_url="http://127.0.0.1") as other:
        here, there = (text_of(c.get("/studies/1/compare")) for c in (client, other))
    # the clips did not come along, and neither did traces: the answers are the same all the same
    assert (
        there.partition("What the presses say")[2].partition("Plan from")[0]
        == (here.partition("What the presses say")[2].partition("Plan from")[0])
    )


def test_the_report_opens_alone_with_and_without_frames(client):
    plain = client.get("/studies/1/report.html")
    shown = client.get("/studies/1/report.html?setup=1&frames=true")
    for answer in (plain, shown):
        assert answer.status_code == 200
        assert STUDY.replace("'", "&#39;") in answer.text
        assert not re.search(r'(src|href)="(?!data:|#)', answer.text)
    assert "data:image/jpeg" not in plain.text
    assert "data:image/jpeg" in shown.text
    assert SETUPS[1] in plain.text
    assert SETUPS[1] not in shown.text


def test_a_library_without_anything_says_what_to_do(tmp_path):
    with Library.init(tmp_path / "new") as made:
        made.add_study(Study("A <b>bold</b> question/answer"))
    with TestClient(create_app(tmp_path / "new"), base_url="http://127.0.0.1") as asked:
        page = asked.get("/studies?name=A <b>bold</b> question/answer")
        assert "No setup yet" in page.text
        assert "<b>bold</b>" not in page.text
        for part in ("compare", "plan", "time", "retests"):
            assert asked.get(f"/studies/1/{part}").status_code == 200
        assert asked.get("/studies/1/report.html").status_code == 422
        assert "No display is known yet" in asked.get("/profiles").text
        with Library.open(tmp_path / "new") as opened:
            opened.add_setup("A <b>bold</b> question/answer", Setup("bare"))
        assert "No press of this setup is accepted yet" in asked.get("/setups/1").text
        assert "no accepted press yet" in asked.get("/studies/1").text
        assert asked.get("/setups/2").status_code == 404
        assert asked.get("/studies/2").status_code == 404


DISPLAY = {"name": "the long panel", "lag_ms": "12,5", "lag_u_ms": "0.4", "refresh_hz": "59.94"}


def test_a_profile_is_added_renewed_and_not_overwritten(client, library):
    added = client.post("/profiles/displays", data=DISPLAY)
    assert "“the long panel” is kept" in added.text
    assert "Lag 12.5 ± 0.4 ms" in text_of(client.get("/profiles"))
    again = client.post("/profiles/displays", data=DISPLAY)
    assert (again.status_code, "kept already" in again.text) == (409, True)
    renewed = client.post("/profiles/displays", data={**DISPLAY, "lag_ms": "13", "revision": "1"})
    assert "Lag 13.0 ± 0.4 ms" in text_of(renewed)
    late = client.post("/profiles/displays", data={**DISPLAY, "lag_ms": "14", "revision": "1"})
    assert late.status_code == 409
    assert 'value="14"' in late.text  # nothing that was typed is lost
    with Library.open(library) as opened:
        (kept,) = opened.displays()
        assert f"said {kept.made_at:%Y-%m-%d}, today" in renewed.text
        assert (kept.profile.lag_s.value, kept.revision) == (pytest.approx(0.013), 2)


@pytest.mark.parametrize(
    ("kind", "changed", "why"),
    [
        ("displays", {"lag_u_ms": ""}, "kept with its uncertainty"),
        ("displays", {"lag_ms": "soon"}, "is no number of ms"),
        ("displays", {"lag_ms": "5000"}, "cannot be"),
        ("displays", {"name": ""}, "needs a name"),
        ("cameras", {}, "without a number says nothing"),
        ("displays", {"revision": "3"}, "no profile is named"),
    ],
)
def test_a_profile_that_cannot_be_is_refused_in_plain_words(client, kind, changed, why):
    answer = client.post(f"/profiles/{kind}", data={**DISPLAY, **changed})
    assert answer.status_code in (404, 422)
    assert why in unescape(answer.text).lower()
    assert client.get("/profiles").text.count("<h3>") == 0


def test_a_question_is_said_anew_and_not_overwritten(client):
    asked = "Does the patch <help>?"
    page = client.post("/studies/1", data={"question": asked, "revision": "1"})
    assert "Does the patch &lt;help&gt;?" in page.text
    assert asked in unescape(client.get("/").text)
    late = client.post("/studies/1", data={"question": "another", "revision": "1"})
    assert late.status_code == 409
    assert asked in unescape(client.get("/studies/1").text)
    assert client.post("/studies/9", data={"question": "", "revision": "1"}).status_code == 404
    long = client.post("/studies/1", data={"question": "?" * 3000, "revision": "2"})
    assert long.status_code == 422


def test_another_site_cannot_change_a_profile(client):
    answer = client.post("/profiles/displays", data=DISPLAY, headers={"Origin": "http://else.test"})
    assert answer.status_code == 403
    assert "No display is known yet" in client.get("/profiles").text


def test_answers_are_worked_out_once_and_the_oldest_go():
    answers, made = Answers(), []
    for asked in (1, 1, 2, 1):
        assert answers.of(asked, lambda asked=asked: made.append(asked) or 10 * asked) == 10 * asked
    assert made == [1, 2]
    for asked in range(100, 170):
        answers.of(asked, lambda: None)
    assert not answers.known(1)
    with pytest.raises(ZeroDivisionError):
        answers.of("broken", lambda: 1 // 0)
    assert answers.of("broken", lambda: 1) == 1  # a refusal is not kept


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_no_grave_fault_of_accessibility_and_nothing_wider_than_the_window(
    watched, served_small, theme
):
    axe = pytest.importorskip("axe_core_python.sync_playwright").Axe()
    page = watched.page
    page.emulate_media(color_scheme=theme)
    for path in PAGES:
        for width in (1280, 800):
            page.set_viewport_size({"width": width, "height": 800})
            page.goto(served_small + path)
            page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
            faults = axe.run(page)["violations"] if width == 1280 else []
            grave = [(f["id"], f["nodes"][0]["html"]) for f in faults if f["impact"] in GRAVE]
            assert grave == [], path
            page.evaluate("document.documentElement.style.setProperty('font-size', '200%')")
            assert page.evaluate("document.documentElement.scrollWidth") <= width, path


def test_the_keyboard_alone_chooses_compares_and_reads_the_outlook(page, served):
    page.goto(f"{served}/studies/1")
    page.get_by_role("button", name="Compare the ticked setups").focus()
    page.keyboard.press("Enter")
    page.wait_for_url("**/compare?*")
    page.get_by_label("The difference that matters").select_option("own")
    page.get_by_role("textbox", name="If of my own: how many ms").fill("1.5")
    page.keyboard.press("Enter")
    page.wait_for_url("**ms=1.5*")
    page.get_by_role("link", name="Work it out").focus()
    page.keyboard.press("Enter")
    page.locator(".outlook").wait_for(timeout=60_000)
    assert page.evaluate("document.activeElement.className") == "outlook"


def test_a_browser_keeps_a_profile_by_its_form(page, served):
    page.goto(f"{served}/profiles")
    form = page.locator("form[action='/profiles/displays']")
    for name, value in DISPLAY.items():
        form.locator(f"[name={name}]").fill(value)
    page.keyboard.press("Enter")
    page.get_by_role("status").wait_for()
    assert "the long panel" in page.get_by_role("status").inner_text()
