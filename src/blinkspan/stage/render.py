"""Film a scene: every frame as the camera would gather it, and the truth beside it."""

from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from blinkspan.errors import UnwritableOutput
from blinkspan.footage.film import encode_film
from blinkspan.stage.camera import Shots, code_table, coded, exposed, noise_bank, plan_shots
from blinkspan.stage.colour import plan_tint, tinted
from blinkspan.stage.film_set import FilmSet, build_set, gather_frame, panel_frames
from blinkspan.stage.limits import check_scene
from blinkspan.stage.panel import Shown, cover
from blinkspan.stage.scene import Scene
from blinkspan.stage.timeline import Timeline, plan
from blinkspan.stage.truth import Truth, write_truth
from blinkspan.stage.truth_of import truth_of
from blinkspan.stage.world import Film

Picture = npt.NDArray[np.uint8]
Progress = Callable[[int, int], None]

_SUFFIX = {"h264": ".mp4", "hevc": ".mp4", "mjpeg": ".mov", "prores": ".mov"}
_CAPTURE_TAG = "com.android.capture.fps"  # as phones write it


@dataclass(frozen=True, slots=True)
class StagedTake:
    """A rendered take and what is true of it."""

    path: Path
    truth: Truth


def render_scene(
    scene: Scene,
    out_dir: Path,
    progress: Progress | None = None,
    *,
    background: Film | None = None,
    threads: int = 0,
) -> StagedTake:
    """Return the take filmed of a scene, written to ``out_dir`` with its truth.

    Parameters
    ----------
    progress : callable, optional
        Called with the frames done and the frames in all.
    background : ndarray of uint8, shape (n, height, width), optional
        Film that the game shows behind everything, at 25 frames a second.
    threads : int
        Encoder threads; 0 leaves the number to the encoder.

    Raises
    ------
    BadSetting
        The scene cannot be filmed as it is described.
    UnwritableOutput
        The folder cannot be made or written to.
    """
    check_scene(scene)
    try:
        out_dir.mkdir(parents=True, exist_ok=True)
    except OSError as refusal:
        raise UnwritableOutput(
            f"{out_dir}: the folder cannot be made ({(refusal.strerror or str(refusal)).lower()}); "
            "choose another"
        ) from refusal
    rng = np.random.default_rng(scene.seed)
    timeline = plan(scene, rng)
    shots = plan_shots(scene.camera, scene.film, timeline.duration_s, rng)
    truth = truth_of(scene, timeline, shots)
    path = out_dir / f"{scene.name}{_SUFFIX[scene.film.codec]}"
    tags = None
    if scene.film.stamped_hz is not None and scene.film.capture_tag:
        tags = {_CAPTURE_TAG: f"{float(scene.camera.rate_hz):.6f}"}
    encode_film(
        path,
        _counted(film_frames(scene, timeline, shots, rng, background), truth.frames, progress),
        width_px=scene.camera.width_px,
        height_px=scene.camera.height_px,
        rate_hz=scene.film.stamped_hz or scene.camera.rate_hz,
        codec=scene.film.codec,
        quality=scene.film.quality,
        key_interval=scene.film.key_interval,
        stamps=None if shots.even else shots.stamps,
        metadata=tags,
        threads=threads,
    )
    try:
        write_truth(truth, path.with_suffix(".truth.json"))
    except UnwritableOutput:
        path.unlink(missing_ok=True)  # a staged take without its truth is of no use
        raise
    return StagedTake(path, truth)


def film_frames(
    scene: Scene,
    timeline: Timeline,
    shots: Shots,
    rng: np.random.Generator,
    background: Film | None = None,
) -> Iterator[Picture]:
    """Yield the planar picture of each frame that the camera takes."""
    camera = scene.camera
    film_set = build_set(scene, timeline, rng)
    panel = panel_frames(film_set, timeline, background, rng)
    tint = plan_tint(cover(film_set.view, camera.width_px, camera.height_px))
    table = code_table(camera.curve)
    bank = noise_bank(camera, rng)
    rows = np.arange(camera.height_px)
    waiting: deque[tuple[Shown, Shown]] = deque([next(panel), next(panel)])
    for start_s in shots.start_s:
        by_px = _sway(film_set, float(start_s))
        # a row of the scene is gathered by the camera row to which the sway takes it
        row_start_s = start_s + (rows + by_px[1]) * camera.row_s
        while waiting[-1][0].change_s <= row_start_s[-1] + camera.exposure_s:
            waiting.append(next(panel))
        scanned_s = row_start_s[0] - film_set.scan_offset_s.max()
        while waiting[1][0].change_s < scanned_s:
            waiting.popleft()
        whole, bands = zip(*waiting, strict=True)
        got = gather_frame(film_set, whole, bands, row_start_s, by_px)
        lamp_share = got.lamp / (got.light[got.lamp_box] + 1e-3)
        luma = coded(exposed(got.light, camera, bank, rng), table)
        yield tinted(luma, tint, got.lamp_box, np.clip(lamp_share, 0.0, 1.0))


def _sway(film_set: FilmSet, start_s: float) -> tuple[float, float]:
    """Return how far the picture is displaced in the middle of a frame."""
    if film_set.sway is None:
        return 0.0, 0.0
    camera = film_set.scene.camera
    return film_set.sway.at(start_s + camera.exposure_s / 2 + camera.readout_ms / 2e3)


def _counted(frames: Iterator[Picture], total: int, progress: Progress | None) -> Iterator[Picture]:
    """Pass the frames on and report every twentieth and the last."""
    for done, frame in enumerate(frames, start=1):
        yield frame
        if progress is not None and (done % 20 == 0 or done == total):
            progress(done, total)
