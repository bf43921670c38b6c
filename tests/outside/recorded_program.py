"""Record a real program on a virtual screen: a page that lights a lamp and answers.

Nothing of the project's renderer is in it: the browser draws the page, the X
server keeps the picture, FFmpeg grabs it, and the keys travel through the X
server as a keyboard's do. The truth is the page's own clock.
"""

import contextlib
import json
import os
import select
import shutil
import subprocess
import time
from collections.abc import Iterator
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path

import cv2
import numpy as np

from blinkspan.traces.regions import Rectangle

PROGRAMS = ("chromium", "Xvfb", "ffmpeg", "xdotool")
WIDTH_PX, HEIGHT_PX = 320, 180  # small, so that two processors can draw and grab at once
# As the page draws them.
LAMP = Rectangle(25, 82, 20, 20)
WATCH = Rectangle(140, 35, 150, 105)
_PAGE = Path(__file__).with_name("recorded_page.html")
_QUIET = ("--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-quic",
          "--no-first-run", "--no-default-browser-check", "--disable-sync", "--disable-extensions",
          "--disable-component-update", "--kiosk", "--window-position=0,0",
          f"--window-size={WIDTH_PX},{HEIGHT_PX}", "--force-device-scale-factor=1")  # fmt: skip
_LAMP_HELD_S = 0.1
_LONG_GAP = 1.7  # pictures' times: one is missing beside the onset
_MOST_SPOILT = 0.3  # of the presses: measuring may call each of them doubtful
_START_S = 1.5  # before the first press: the grabber's start, and idle time to learn from


class TooBusy(RuntimeError):
    """The machine was too busy to draw or to grab some press at all."""


@dataclass(frozen=True, slots=True)
class LoggedPress:
    """One press as the page logged it.

    Attributes
    ----------
    key_s : float
        When the key came, in seconds of the page's clock.
    lamp_s, answer_s : float
        Times of the animation frames that lit the lamp and that showed the answer.
    lamp_drawn_s, answer_drawn_s : float
        When those frames' drawing began by the same clock: how late a frame was made.
    frames : int
        Animation frames from the one to the other.
    """

    key_s: float
    lamp_s: float
    answer_s: float
    lamp_drawn_s: float
    answer_drawn_s: float
    frames: int


@dataclass(frozen=True, slots=True)
class Recording:
    """A recorded take and its truth."""

    path: Path
    presses: tuple[LoggedPress, ...]


def missing_programs() -> tuple[str, ...]:
    """Return what a recording needs and this machine has not."""
    missing = [name for name in PROGRAMS if shutil.which(name) is None]
    if find_spec("playwright") is None:
        missing.append("playwright (Python)")
    return tuple(missing)


def record(folder: Path, presses: int, rate_hz: int, seed: int, gap_s: float = 0.7) -> Recording:
    """Return a recording of the page answering so many presses.

    Parameters
    ----------
    rate_hz : int
        Pictures a second that the grabber is asked for.
    gap_s : float
        Least time from press to press; a random part of half of it is added.

    Raises
    ------
    TooBusy
        The page drew no frame for some press, or pictures are missing for as long as a
        press or beside many an onset: what was not recorded nobody can measure.
    """
    from playwright.sync_api import sync_playwright

    rng = np.random.default_rng(seed)
    waits_s = gap_s + rng.uniform(0.0, gap_s / 2, presses)
    path = folder / f"recorded-{rate_hz}-{seed}.mp4"
    with _virtual_screen() as display, sync_playwright() as playwright:
        surroundings = {**os.environ, "DISPLAY": display}
        browser = playwright.chromium.launch_persistent_context(
            str(folder / "profile"),
            executable_path=shutil.which("chromium"),
            headless=False,
            args=list(_QUIET),
            env=surroundings,
            no_viewport=True,
        )
        try:
            page = browser.pages[0]
            page.goto(_PAGE.as_uri())
            page.bring_to_front()
            page.wait_for_function("() => frame > 30")
            with _grabbing(path, display, rate_hz):
                time.sleep(_START_S)
                _press_space(waits_s, surroundings)
                time.sleep(1.0)
            log = page.evaluate("() => JSON.stringify(log)")
        finally:
            browser.close()
    logged = json.loads(log)
    if len(logged) != presses or any("answer_ms" not in each for each in logged):
        raise TooBusy("the page did not answer every press; leave the machine less to do")
    times_s, seen = seen_presses(path)
    if len(seen) != presses or np.diff(times_s[times_s > _START_S / 2]).max() > _LAMP_HELD_S:
        raise TooBusy("the grabber missed pictures; leave the machine less to do")
    spoilt = sum(press.longest_gap_s > _LONG_GAP / rate_hz for press in seen)
    if spoilt > _MOST_SPOILT * presses:
        raise TooBusy(f"pictures are missing beside {spoilt} of {presses} presses' onsets")
    return Recording(path, tuple(_logged(each) for each in logged))


def _logged(each: dict) -> LoggedPress:
    return LoggedPress(
        key_s=each["key_ms"] / 1e3,
        lamp_s=each["lamp_ms"] / 1e3,
        answer_s=each["answer_ms"] / 1e3,
        lamp_drawn_s=each["lamp_drawn_ms"] / 1e3,
        answer_drawn_s=each["answer_drawn_ms"] / 1e3,
        frames=each["frames"],
    )


def _press_space(waits_s: np.ndarray, surroundings: dict[str, str]) -> None:
    """Press and release the space bar after each wait, by the X server's test extension."""
    script = ["xdotool"]
    for wait_s in waits_s:
        script += ["keydown", "space", "sleep", str(_LAMP_HELD_S), "keyup", "space"]
        script += ["sleep", f"{wait_s - _LAMP_HELD_S:.4f}"]
    subprocess.run(script, env=surroundings, check=True, capture_output=True)


@contextlib.contextmanager
def _virtual_screen() -> Iterator[str]:
    """Give the name of a screen that is no monitor's, gone when left."""
    size = f"{WIDTH_PX}x{HEIGHT_PX}x24"
    told, tell = os.pipe()
    line = ["Xvfb", "-displayfd", str(tell), "-screen", "0", size, "-nolisten", "tcp", "-nocursor"]
    server = subprocess.Popen(line, pass_fds=[tell], stderr=subprocess.DEVNULL)
    os.close(tell)
    try:
        ready, _, _ = select.select([told], [], [], 20.0)
        number = os.read(told, 16).decode().strip() if ready else ""
        if not number:
            raise RuntimeError("the virtual screen did not start within 20 s")
        yield f":{number}"
    finally:
        os.close(told)
        server.terminate()
        server.wait(10)


@contextlib.contextmanager
def _grabbing(path: Path, display: str, rate_hz: int) -> Iterator[None]:
    """Grab the screen meanwhile, each picture stamped with the moment it was taken at."""
    line = ["ffmpeg", "-v", "error", "-y", "-f", "x11grab", "-draw_mouse", "0",
            "-framerate", str(rate_hz), "-video_size", f"{WIDTH_PX}x{HEIGHT_PX}",
            "-i", display, "-fps_mode", "passthrough", "-enc_time_base", "1:1000000",
            "-video_track_timescale", "1000000", "-c:v", "libx264", "-preset", "ultrafast",
            "-crf", "4", "-g", "120", "-pix_fmt", "yuv420p", "-colorspace", "bt709",
            "-color_range", "tv", str(path)]  # fmt: skip
    grabber = subprocess.Popen(line, stdin=subprocess.PIPE)
    try:
        yield
    finally:
        if grabber.poll() is None:
            grabber.communicate(b"q", timeout=20)
    if grabber.returncode:
        raise RuntimeError(f"the grabber ended with code {grabber.returncode}")


@dataclass(frozen=True, slots=True)
class SeenPress:
    """What the bare pictures hold of one press: its two instants lie in (after, until]."""

    lamp_s: tuple[float, float]
    answer_s: tuple[float, float]

    @property
    def longest_gap_s(self) -> float:
        """Between the pictures about the one instant or the other."""
        return max(after - before for before, after in (self.lamp_s, self.answer_s))


def seen_presses(path: Path) -> tuple[np.ndarray, list[SeenPress]]:
    """Return each picture's time from the first one's, and between which ones each press fell.

    Read by OpenCV's own decoder. A grabbed picture is a single moment, so a
    patch is either as before or changed, and nothing has to be estimated.
    """
    film = cv2.VideoCapture(str(path))
    times_ms, lamp, answer = [], [], []
    while film.grab():
        _, picture = film.retrieve()
        times_ms.append(film.get(cv2.CAP_PROP_POS_MSEC))
        lamp.append(picture[87:97, 30:40].mean() > 130)
        answer.append(picture[70:105, 220:265].mean() > 150)
    film.release()
    times_s = (np.array(times_ms) - times_ms[0]) / 1e3
    lit, shown = _rises(np.array(lamp)), _rises(np.array(answer))
    presses = []
    for at in lit:
        then = shown[shown > at]
        if then.size:
            presses.append(
                SeenPress((times_s[at - 1], times_s[at]), (times_s[then[0] - 1], times_s[then[0]]))
            )
    return times_s, presses


def _rises(on: np.ndarray) -> np.ndarray:
    return np.flatnonzero(on[1:] & ~on[:-1]) + 1
