"""A small library, its page answered in the process, served to a browser, and looked at in one."""

import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from blinkspan.jobs.add import add
from blinkspan.jobs.batch import Failed, measure_study
from blinkspan.jobs.library import init
from blinkspan.jobs.make_previews import make_previews
from blinkspan.library import Library
from blinkspan.stage.render import render_scene
from blinkspan.study.setup import Conditions, Setup
from blinkspan.traces.regions import Regions
from blinkspan.web.app import create_app
from web.small_library import SETUPS, STUDY, serving


@pytest.fixture(scope="session")
def small_library(small_take, small_scene, tmp_path_factory) -> Path:
    """Return a library of one study, two setups and two measured takes; not to be changed."""
    folder = tmp_path_factory.mktemp("page") / "library"
    init(folder)
    # the same scene with another seed and a quicker game
    scene = replace(small_scene, name="later", seed=4, game=replace(small_scene.game, miss=0.0))
    later = render_scene(scene, tmp_path_factory.mktemp("later"), threads=1)
    for name, staged, build in zip(SETUPS, (small_take, later), ("1.2", "1.3"), strict=True):
        conditions = Conditions(
            platform="Corvid",
            title="Lantern Row",
            build=build,
            mode="performance 60",
            action="jump",
            spot="first pier",
            link="wired",
        )
        outcomes = list(add(folder, [staged.path], STUDY, Setup(name, conditions)))
        assert [each.refusal for each in outcomes] == [None]
        truth = staged.truth
        events = measure_study(
            folder,
            STUDY,
            name,
            regions=Regions(truth.lamp, truth.panel, truth.watch),
            given={"game_rate_hz": truth.game_rate_hz, "capture_rate_hz": 240.0},
            workers=1,
        )
        assert not [event for event in events if isinstance(event, Failed)]
    with Library.open(folder) as opened:  # made here once, not anew by every test of the bench
        for take in opened.takes():
            list(make_previews(folder, take.sha256, opened.clip(take), 240.0, ()))
    return folder


@pytest.fixture(scope="session")
def third_clip(small_scene, tmp_path_factory) -> Path:
    """Return a clip that is not in the small library; not to be changed."""
    presses = replace(small_scene.presses, count=4)
    scene = replace(small_scene, name="third", seed=5, presses=presses)
    return render_scene(scene, tmp_path_factory.mktemp("third"), threads=1).path


@pytest.fixture
def library(small_library, tmp_path) -> Path:
    """Return a copy of the small library that a test may change."""
    return shutil.copytree(small_library, tmp_path / "library")


@pytest.fixture
def client(library) -> Iterator[TestClient]:
    """Yield the page's interface, answered in this process."""
    with TestClient(create_app(library, person="Mara"), base_url="http://127.0.0.1") as asked:
        yield asked


@pytest.fixture
def served(library) -> Iterator[str]:
    """Yield the address of the page over a library that the test may change."""
    with serving(library) as address:
        yield address


@pytest.fixture(scope="session")
def served_small(small_library) -> Iterator[str]:
    """Yield the address of the page over the small library, which a test must not change."""
    with serving(small_library) as address:
        yield address


@pytest.fixture(scope="session")
def browser():
    """Yield the machine's own Chromium, driven by Playwright."""
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    if program is None:
        pytest.skip("chromium is not installed; the pages were not looked at in a browser")
    playwright = pytest.importorskip("playwright.sync_api")
    with playwright.sync_playwright() as driver:
        opened = driver.chromium.launch(
            executable_path=program,
            args=["--no-sandbox", "--disable-background-networking", "--disable-gpu"],
        )
        yield opened
        opened.close()


class Watched:
    """A page whose errors and foreign requests are noted."""

    def __init__(self, page) -> None:
        self.page = page
        self.complaints: list[str] = []
        page.on("console", self._console)
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.on("request", self._request)

    def _console(self, message) -> None:
        if message.type in ("error", "warning"):
            self.complaints.append(message.text)

    def _request(self, request) -> None:
        if not request.url.startswith(("http://127.0.0.1:", "blob:", "data:")):
            self.complaints.append(f"a request left the machine: {request.url}")


@pytest.fixture
def watched(browser, request) -> Iterator[Watched]:
    """Yield a watched page; what it complained of fails the test unless the test took it out."""
    if "served" in request.fixturenames:
        request.getfixturevalue("served")  # so that the page is closed before its server is
    context = browser.new_context(viewport={"width": 1280, "height": 800}, reduced_motion="reduce")
    context.set_default_timeout(30_000)  # a busy machine is slow, not broken
    held = Watched(context.new_page())
    yield held
    context.close()
    assert held.complaints == []


@pytest.fixture
def page(watched):
    """Return a browser's page; console errors and foreign requests fail the test."""
    return watched.page
