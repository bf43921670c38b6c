"""Photograph the pages of a demonstration's library: for the manual, or all of them to look at.

    blinkspan demo
    python docs/make_pictures.py blinkspan-demo OUT_DIR     every page, both themes, three sizes
    python docs/make_pictures.py blinkspan-demo --manual    those the manual shows, small

The library is copied first and stays as it is. One more take is filmed for the
page of retests, which takes a minute. Chromium has to be on the path.
"""

import shutil
import socket
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import cv2
import uvicorn
from playwright.sync_api import Page, sync_playwright

from blinkspan.jobs.add import add
from blinkspan.jobs.batch import measure_study
from blinkspan.jobs.demo_library import STUDY
from blinkspan.stage.demo import demo_setups
from blinkspan.stage.play import Game
from blinkspan.stage.render import render_scene
from blinkspan.stage.truth_of import expected_truth
from blinkspan.study.setup import Conditions, Setup
from blinkspan.traces.regions import Regions
from blinkspan.web.app import create_app

SIZES = ((1280, 800), (1920, 1080), (800, 900))
THEMES = ("light", "dark")
MANUAL = Path(__file__).parent / "pictures"
TALLEST_PX = 1500  # what the manual shows of a long page
LARGEST_BYTES = 150_000
SETTLED_MS = 1500

# Page: its address, and whether the manual shows it in the dark, too.
PAGES = {
    "library": ("/", False),
    "search": ("/?q=60", False),
    "take": ("/takes/1", False),
    "presses": ("/takes/3/presses", False),
    "press": ("/takes/3/presses/5", True),
    "study": ("/studies/1", True),
    "compare": ("/studies/1/compare", False),
    "plan": ("/studies/1/plan?pilot=1&width=8", False),
    "time": ("/studies/1/time?link=wired", False),
    "setup": ("/setups/3", False),
    "profiles": ("/profiles", False),
}
RETESTS = {"retests": ("/studies/1/retests", False)}
ODD_ONES = {"nothing-found": ("/?q=zeppelin", False), "missing": ("/nowhere", False)}


@contextmanager
def served(library: Path) -> Iterator[str]:
    """Yield the address at which a library's page is served by a thread."""
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        config = uvicorn.Config(create_app(library, person="Mara"), log_level="warning", ws="none")
        server = uvicorn.Server(config)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
        thread.start()
        while not server.started:
            time.sleep(0.02)
        yield f"http://127.0.0.1:{listening.getsockname()[1]}"
        server.should_exit = True
        thread.join()


def film_again(library: Path, folder: Path) -> None:
    """Add one setup of the demonstration as it answers after a patch: a frame less is queued."""
    before = demo_setups()[1]
    game = replace(before.scene.game, queue_frames=before.scene.game.queue_frames - 1)
    assert isinstance(game, Game)
    scene = replace(before.scene, name="veldrin-arc-60-patched", seed=52, game=game)
    said = Conditions(
        platform=before.platform,
        title=before.title,
        build="1.5.0",
        mode=before.mode,
        action=before.action,
        spot=before.spot,
        link=before.link,
        picture_mode="game",
    )
    name = f"{before.platform}, {before.mode}, build {said.build}"
    setup = Setup(name, said, "the television's game mode")
    list(add(library, [render_scene(scene, folder).path], STUDY.name, setup))
    truth = expected_truth(scene)
    regions = Regions(truth.lamp, truth.panel, truth.watch)
    given = {"game_rate_hz": truth.game_rate_hz}
    list(measure_study(library, STUDY.name, name, regions=regions, given=given))


def open_page(page: Page, address: str, name: str) -> None:
    """Open a page and wait until all it shows is there."""
    page.goto(address)
    if name == "take":
        page.wait_for_selector("#watch-trace path", state="attached")
    page.wait_for_timeout(SETTLED_MS)  # pages that are told of work never rest


def photograph_all(page: Page, address: str, pages: dict[str, tuple[str, bool]], to: Path) -> None:
    """Photograph pages in both themes at all sizes."""
    for theme in THEMES:
        page.emulate_media(color_scheme=theme)
        for width, height in SIZES:
            page.set_viewport_size({"width": width, "height": height})
            for name, (path, _) in pages.items():
                open_page(page, address + path, name)
                page.screenshot(path=to / f"{name}-{theme}-{width}.png", full_page=True)


def photograph_for_manual(
    page: Page, address: str, pages: dict[str, tuple[str, bool]], work: Path
) -> None:
    """Photograph pages at the smallest usual size, those that matter in the dark, too."""
    page.set_viewport_size({"width": SIZES[0][0], "height": SIZES[0][1]})
    for name, (path, in_the_dark) in pages.items():
        for theme in THEMES if in_the_dark else THEMES[:1]:
            page.emulate_media(color_scheme=theme)
            open_page(page, address + path, name)
            shot = work / "shot.png"
            page.screenshot(path=shot, full_page=True)
            write_small(shot, MANUAL / f"{name}-{theme}.webp")


def write_small(picture: Path, to: Path) -> None:
    """Write a picture as small as a manual wants it, no more faithful than it has room for."""
    pixels = cv2.imread(str(picture))[:TALLEST_PX]
    for quality in (85, 75, 65, 55, 45):
        done, coded = cv2.imencode(".webp", pixels, [cv2.IMWRITE_WEBP_QUALITY, quality])
        if done and coded.size <= LARGEST_BYTES:
            break
    to.write_bytes(coded.tobytes())


def main(demo: Path, out_dir: Path | None) -> None:
    """Photograph every page that there is."""
    program = shutil.which("chromium") or sys.exit("chromium is not on the path")
    with tempfile.TemporaryDirectory() as work, sync_playwright() as driver:
        library = shutil.copytree(demo / "library", Path(work, "library"))
        browser = driver.chromium.launch(executable_path=program, args=["--no-sandbox"])
        page = browser.new_page()
        page.set_default_timeout(120_000)
        for pages in (PAGES, RETESTS) if out_dir is None else (PAGES | ODD_ONES, RETESTS):
            if pages is RETESTS:
                film_again(library, Path(work))
            with served(library) as address:
                if out_dir is None:
                    MANUAL.mkdir(exist_ok=True)
                    photograph_for_manual(page, address, pages, Path(work))
                else:
                    out_dir.mkdir(parents=True, exist_ok=True)
                    photograph_all(page, address, pages, out_dir)
        browser.close()


if __name__ == "__main__":
    places = [Path(word) for word in sys.argv[1:] if word != "--manual"]
    if len(places) != (1 if "--manual" in sys.argv else 2):
        sys.exit(__doc__)
    main(places[0], None if "--manual" in sys.argv else places[1])
