"""Pages in a real browser: accessibility by axe-core, contrast by computation; whole job.

WCAG 2.2, 1.4.3 and 1.4.11: text at 4.5:1, parts of controls at 3:1, with the
relative luminance of its glossary.
"""

import re

import pytest

from blinkspan.web.still_files import FOLDER

PAGES = ("/", "/?q=corvid", "/takes/1", "/nowhere")
TEXT = ("ink", "quiet", "lamp", "response", "link", "good", "doubt", "bad", "middle")
MARKS = ("edge", "focus", "dot")
GROUNDS = ("paper", "card", "sunk")


def themes():
    text = (FOLDER / "css" / "tokens.css").read_text()
    pairs = re.findall(r"--([\w-]+): light-dark\((#[0-9a-f]{6}), (#[0-9a-f]{6})\);", text)
    light, dark = ({name: both[k] for name, *both in pairs} for k in (0, 1))
    return light, dark


def luminance(colour):
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one, other):
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_contrast_by_wcag_in_every_theme():
    light, dark = themes()
    assert contrast("#ffffff", "#000000") == pytest.approx(21.0)  # WCAG's own example
    for colours in (light, dark):
        for ground in GROUNDS:
            for name in TEXT:
                assert contrast(colours[name], colours[ground]) >= 4.5, (name, ground)
            for name in MARKS:
                assert contrast(colours[name], colours[ground]) >= 3.0, (name, ground)
        assert contrast(colours["on-action"], colours["action"]) >= 4.5


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("path", PAGES)
def test_no_page_has_a_grave_fault_of_accessibility(watched, served_small, path, theme):
    axe = pytest.importorskip("axe_core_python.sync_playwright").Axe()
    watched.page.emulate_media(color_scheme=theme)
    watched.page.goto(served_small + path)
    if path == "/nowhere":
        watched.complaints = [c for c in watched.complaints if "404" not in c]
    faults = axe.run(watched.page)["violations"]
    grave = [(f["id"], f["nodes"][0]["html"]) for f in faults if f["impact"] in GRAVE]
    assert grave == []


GRAVE = ("serious", "critical")


@pytest.mark.parametrize("width", [800, 1280])
@pytest.mark.parametrize("path", PAGES)
def test_no_page_is_wider_than_its_window_also_at_double_text(watched, served_small, path, width):
    page = watched.page
    page.set_viewport_size({"width": width, "height": 800})
    page.goto(served_small + path)
    page.evaluate("document.documentElement.style.setProperty('font-size', '200%')")
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    watched.complaints = [c for c in watched.complaints if "404" not in c]


def test_the_theme_and_the_name_stay_over_a_reload(page, served_small):
    page.goto(served_small)
    page.get_by_label("Colours").select_option("dark")
    page.get_by_label("Your name").fill("Ivo")
    page.keyboard.press("Tab")
    page.reload()
    assert page.get_by_label("Your name").input_value() == "Ivo"
    ground = page.evaluate("getComputedStyle(document.body.parentElement).backgroundColor")
    assert ground == "rgb(20, 24, 28)"


def test_keys_alone_reach_the_navigation_and_the_focus_is_seen(page, served_small):
    page.goto(served_small)
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "To the main part"
    page.keyboard.press("Tab")
    width = page.evaluate("getComputedStyle(document.activeElement).outlineWidth")
    assert width == "3px"
