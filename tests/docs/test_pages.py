"""The pages themselves: exact (links, first commands, versions) and published (WCAG's limits)."""

import math
import re

import pytest

from blinkspan.publish.cautions import CAUTIONS
from docs.pages import DOCS, PAGES, PROJECT, anchors, blocks, text

NAMED_CAUTIONS = (
    "battery", "low voltage", "series resistor", "fumes", "eye protection", "warranty",
    "stored charge", "lithium", "mains", "codes", "qualified", "photosensitive",
)  # fmt: skip


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_links_lead_somewhere(page):
    def leads(link: str) -> bool:
        path, _, anchor = link.partition("#")
        target = page.parent / path if path else page
        if not target.exists():
            return False
        return not anchor or anchor in anchors(target.read_text(encoding="utf-8"))

    links = re.findall(r"\]\(([^)\s]+)\)", page.read_text(encoding="utf-8"))
    assert [link for link in links if "://" not in link and not leads(link)] == []


def test_every_picture_is_shown_and_small():
    shown = {
        name for page in PAGES for name in re.findall(r"pictures/([\w-]+\.webp)", page.read_text())
    }
    kept = {file.name: file.stat().st_size for file in (DOCS / "pictures").iterdir()}
    assert set(kept) == shown
    assert max(kept.values()) <= 150_000  # a manual is read over slow lines, too


def test_the_readme_begins_with_the_job_and_two_commands():
    title, job, *_ = text("README.md").split("\n\n")
    assert title == "# blinkspan"
    assert job.startswith("blinkspan measures how quickly a game answers the button.")
    assert blocks(text("README.md"), "sh")[0].splitlines() == ["make demo", "make test"]


def test_every_verb_that_is_named_is_in_the_makefile():
    verbs = set(re.findall(r"^([a-z]+):", text("Makefile"), re.MULTILINE))
    named = {
        verb for page in PAGES for verb in re.findall(r"`make (\w+)`", page.read_text("utf-8"))
    }
    assert {"demo", "test"} <= named <= verbs


def test_the_changelog_tells_of_this_version_and_of_numbers():
    parts = re.split(r"^## \[(.+?)\].*$", text("CHANGELOG.md"), flags=re.MULTILINE)[1:]
    told = dict(zip(parts[::2], parts[1::2], strict=True))
    assert PROJECT["version"] in told
    silent = [v for v, part in told.items() if v != "Unreleased" and "### Numbers" not in part]
    assert silent == []


def test_the_readme_names_the_python_that_is_asked_for():
    least = PROJECT["requires-python"].removeprefix(">=")
    assert f"python3 ({least} or newer)" in text("README.md")


def test_every_caution_of_the_report_has_its_part_on_the_page():
    page = text("docs/cautions.md").lower()
    heads = set(re.findall(r"^## (.+)$", page, re.MULTILINE))
    assert {title.lower() for title, _ in CAUTIONS} - {"when in doubt"} <= heads
    assert [word for word in NAMED_CAUTIONS if word not in page] == []


def test_the_flash_limits_are_the_published_ones_and_agree():
    # WCAG 2.2, 2.3.1 and its definition of general flash: 0.006 steradian is 25 % of a 10
    # degree field, which at 1024 x 768 is taken as 341 x 256 pixels.
    page = text("docs/cautions.md")
    for limit in ("three general and three red flashes", "10 % or more", "below 0.80"):
        assert limit in page
    told_sr = float(re.search(r"at most (0\.\d+) steradian", page)[1])
    field_sr = 2 * math.pi * (1 - math.cos(math.radians(5)))
    assert told_sr == pytest.approx(0.25 * field_sr, rel=0.005)
    width, height, quarter = re.search(
        r"taken as (\d+) × (\d+) px, a quarter of which is ([\d ]+) px", page
    ).groups()
    assert int(quarter.replace(" ", "")) == int(width) * int(height) / 4
