"""Photograph the pages: every page in both themes at two sizes, and the few for the manual.

Run it with a demonstration's library:

    blinkspan demo
    python docs/make_pictures.py blinkspan-demo/library OUT_DIR

Every picture goes to OUT_DIR as PNG. With ``--manual``, those the manual shows
are also written to docs/pictures, small. Chromium has to be on the path.
"""

import shutil
import socket
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import cv2
import uvicorn
from playwright.sync_api import sync_playwright

from blinkspan.jobs.review import overview
from blinkspan.web.app import create_app
from blinkspan.web.pages.library import study_href

SIZES = ((1280, 800), (1920, 1080))
THEMES = ("light", "dark")
MANUAL = Path(__file__).parent / "pictures"
SHOWN_IN_MANUAL = {"library-light-1280", "take-light-1280", "study-light-1280"}


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


def addresses(library: Path) -> dict[str, str]:
    """Return the pages to photograph, by the name of the picture."""
    study = study_href(overview(library)[0].study.study.name)
    return {
        "library": "/",
        "search": "/?q=60",
        "take": "/takes/1",
        "presses": "/takes/1/presses",
        "study": study,
        "compare": "/studies/1/compare",
        "time": "/studies/1/time?link=wired",
        "retests": "/studies/1/retests",
        "plan": "/studies/1/plan",
        "setup": "/setups/3",
        "profiles": "/profiles",
        "missing": "/nowhere",
    }


SETTLED_MS = 1500


def main(library: Path, out_dir: Path, manual: bool) -> None:
    """Photograph every page that there is."""
    out_dir.mkdir(parents=True, exist_ok=True)
    program = shutil.which("chromium") or sys.exit("chromium is not on the path")
    with served(library) as address, sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=program, args=["--no-sandbox"])
        for theme in THEMES:
            for width, height in SIZES:
                context = browser.new_context(
                    viewport={"width": width, "height": height}, color_scheme=theme
                )
                page = context.new_page()
                for name, path in addresses(library).items():
                    answer = page.goto(address + path)
                    if answer is None or (answer.status == 404 and name != "missing"):
                        continue
                    if name == "take":
                        page.wait_for_selector("#watch-trace path", state="attached")
                    page.wait_for_timeout(SETTLED_MS)  # pages that are told of work never rest
                    file = out_dir / f"{name}-{theme}-{width}.png"
                    page.screenshot(path=file, full_page=True)
                    if manual and file.stem in SHOWN_IN_MANUAL:
                        MANUAL.mkdir(exist_ok=True)
                        small = MANUAL / f"{file.stem}.webp"
                        cv2.imwrite(
                            str(small), cv2.imread(str(file)), [cv2.IMWRITE_WEBP_QUALITY, 80]
                        )
                context.close()
        browser.close()


if __name__ == "__main__":
    places = [Path(word) for word in sys.argv[1:] if word != "--manual"]
    if len(places) != 2:
        sys.exit(__doc__)
    main(*places, manual="--manual" in sys.argv)
