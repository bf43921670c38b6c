"""The report: exact (what it says and holds), read by the standard library's HTML reader."""

import itertools
import re
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pytest
from msgspec.structs import replace as changed

from blinkspan.footage.frames import PictureFormat, TransferCurve
from blinkspan.publish.cautions import CAUTIONS
from blinkspan.publish.document import summary_part
from blinkspan.publish.pictures import jpeg
from blinkspan.publish.report import ReportSetup, report_html
from blinkspan.publish.strips import PressStrip, StripFrame
from blinkspan.quantities import Estimate
from blinkspan.study.summary import Summary

VOID = {"meta", "img", "br", "link", "input", "hr"}


class Page(HTMLParser):
    """What a page holds, with every tag's end checked."""

    def __init__(self, html: bytes):
        super().__init__()
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.feed(html.decode())
        self.close()
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if "style" not in self.open:
            self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())

    def all(self, tag: str, key: str) -> list[str]:
        return [attrs[key] for name, attrs in self.tags if name == tag and attrs.get(key)]


@pytest.fixture(scope="module")
def html(setup):
    return report_html("Spans of Lantern Quay", [setup], ["Filmed on one day."])


@pytest.fixture(scope="module")
def page(html):
    return Page(html)


def test_nothing_is_loaded_from_outside(html, page):
    text = html.decode()
    assert "script" not in {tag for tag, _ in page.tags}
    assert "link" not in {tag for tag, _ in page.tags}
    assert {re.match(r"[a-z]+:|#", s)[0] for s in page.all("img", "src")} == {"data:"}
    assert {s[:5] for s in page.all("image", "href")} == {"data:"}
    assert all(
        href.startswith("#") for href in page.all("a", "href") + page.all("use", "xlink:href")
    )
    assert not re.search(r"url\((?!#)|@import", text)
    # What is left are the names of XML's own vocabularies, which nobody fetches.
    assert set(re.findall(r"https?://([^/\"]+)", text)) == {"www.w3.org"}
    assert page.all("meta", "content")[2].startswith("default-src 'none'")


def test_every_link_has_its_place_and_every_place_one_name(page):
    ids = [attrs["id"] for _, attrs in page.tags if attrs.get("id")]
    assert len(ids) == len(set(ids))
    links = page.all("a", "href")
    assert len(links) > 20
    assert {href[1:] for href in links} <= set(ids)
    named = [attrs["aria-labelledby"] for _, attrs in page.tags if "aria-labelledby" in attrs]
    assert set(named) <= set(ids)


def test_pictures_and_drawings_have_words(page):
    images = [attrs for tag, attrs in page.tags if tag == "img"]
    assert len(images) == 15 * 6 + 14 * 6  # one press has no response
    assert all(attrs["alt"] for attrs in images)
    drawings = [attrs for tag, attrs in page.tags if tag == "svg"]
    assert all(a.get("aria-label") or a.get("aria-hidden") == "true" for a in drawings)


def test_headings_never_skip_a_step(page):
    steps = [int(tag[1]) for tag, _ in page.tags if re.fullmatch(r"h[1-6]", tag)]
    assert steps[0] == 1
    assert steps.count(1) == 1
    assert all(after - before <= 1 for before, after in itertools.pairwise(steps))


def test_the_numbers_of_every_press_are_there(page, setup):
    document = setup.takes[0].document
    for press in document.presses:
        assert f"{press.lamp_on_s:.4f}" in page.text
        if press.span_ms is not None:
            assert f"{press.span_ms:.1f} ± {press.u_ms:.1f}" in page.text
            assert f"{press.net_ms:.1f} ± {press.net_u_ms:.1f}" in page.text
    for said in (
        "Spans of Lantern Quay",
        "Filmed on one day.",
        f"is {setup.summary.median_ms:.1f} ms",
        "n = 12 2 doubtful 1 rejected",
        "doubtful: two candidates",
        "rejected: no response",
        "Changes like a response that no press explains: 7.5132 s.",
        "The leading term is response onset , 72.4 % of the whole.",
        "Exposure 2.08 ± 0.09 ms from the take",
        "Display lag 21.3 ± 0.9 ms",
        "console console A",
        "The readout time was not given; its whole likely range is in the budget.",
        "watched (proposed)",
        "two changes could each be the response",
        "order statistics",
        document.take.sha256,
        *(word for caution in CAUTIONS for word in caution),
    ):
        assert said in page.text


def test_the_frame_that_saw_the_event_first_is_framed(html, setup):
    take = setup.takes[0]
    press, strip = take.document.presses[0], take.strips[0]
    exposure_s = take.document.camera.exposure_ms / 1e3
    first = next(f for f in strip.lamp_frames if f.start_s + exposure_s > press.lamp_on_s)
    framed = re.findall(r'<figure class="first"><img [^>]*>\s*<figcaption>(\d+)', html.decode())
    assert int(framed[0]) == first.index
    assert len(framed) == 15 + 14


def test_both_palettes_are_there_and_the_chart_takes_the_pages_colours(html):
    text = html.decode()
    assert "prefers-color-scheme: dark" in text
    chart = text[text.index('<svg class="chart"') :].split("</svg>")[0]
    assert "var(--dot)" in chart
    assert "var(--ink)" in chart
    assert not re.search(r": #[0-9a-f]{6}", chart)


def test_names_are_never_markup(setup):
    take = setup.takes[0]
    wild = '<b onload="x">"&\' $1$'
    document = changed(
        take.document,
        take=changed(take.document.take, name=wild, codec=wild, rate_source=wild),
        conditions={wild: wild},
        notes=(wild,),
        camera=changed(take.document.camera, exposure_source=wild),
    )
    wild_setup = ReportSetup(wild, setup.summary, (replace(take, document=document),))
    page = Page(report_html(wild, [wild_setup], [wild]))
    assert "b" not in {tag for tag, attrs in page.tags if "onload" in attrs}
    assert page.text.count(wild) >= 8


def test_several_setups_and_takes_without_pictures(setup):
    bare = replace(setup.takes[0], still=None, strips=())
    nothing = summary_part(Summary(0, 2, 1, *(None,) * 7))
    page = Page(
        report_html(
            "Two",
            [
                ReportSetup("One", setup.summary, (bare, bare)),
                ReportSetup("Other", nothing, (bare,)),
            ],
        )
    )
    assert "The median of One is" in page.text
    assert "1 setup has none." in page.text
    assert not page.all("img", "src")
    ids = [attrs["id"] for _, attrs in page.tags if attrs.get("id")]
    assert len(ids) == len(set(ids))


def test_fifteen_presses_of_grainy_full_hd_film_stay_below_three_megabytes(setup):
    rng = np.random.default_rng(2)
    shape = PictureFormat(1920, 1080, 8, False, TransferCurve.BT709)
    film = np.clip(rng.normal(120, 12, (1080, 1920)), 16, 235).astype(np.uint8)
    frame = jpeg(film[:117, :208], shape)  # grain at the strip's own scale: the worst there is
    frames = tuple(StripFrame(i, i / 240, frame) for i in range(6))
    strips = tuple(PressStrip(n, frames, frames) for n in range(1, 16))
    take = replace(setup.takes[0], still=jpeg(film, shape), strips=strips)
    page = report_html("Grain", [ReportSetup("Grain", setup.summary, (take,))])
    assert 1_000_000 < len(page) < 3_000_000


def test_estimates_of_other_levels_are_told(setup):
    median = Estimate(80.0, 70.0, 90.0, 0.9, "another way")
    summary = Summary(3, 0, 0, median, 70.0, 90.0, 72.0, 88.0, 5.0, None)
    page = Page(report_html("Level", [ReportSetup("One", summary_part(summary), setup.takes)]))
    assert "its 90 % interval" in page.text
    assert "The median’s interval: another way." in page.text
