"""Make the takes that the speed table is measured on: 1920x1080, 240 frames/s, about 30 Mbit/s.

A scene of the stage is filmed once in high quality, encoded again at the rate
wanted, and its packets are strung together as often as the length asks for.
"""

from collections.abc import Iterator
from dataclasses import replace
from itertools import islice
from pathlib import Path

import av
import numpy as np
from av.video.stream import VideoStream

from blinkspan.footage.film import Picture, encode_film
from blinkspan.stage.catalogue import CATALOGUE
from blinkspan.stage.render import render_scene
from blinkspan.stage.truth import read_truth

_SCENE = CATALOGUE["full-hd"]
_RATE_HZ = _SCENE.camera.rate_hz
_MASTER_QUALITY = 12
_WANTED_BIT_S = 30e6
_TRIED_FRAMES = 240
_QUALITIES = range(10, 45)
_NEVER = 1_000_000  # frames between key frames where there should be only the first


def make_take(
    folder: Path, codec: str, seconds: float, *, keys: bool, interval: int | None = None
) -> Path:
    """Return a take of at least that length; parts of an earlier call are used again.

    Parameters
    ----------
    codec : str
        "h264" or "hevc".
    keys : bool
        Whether there are key frames inside, at which a take can be split.
    interval : int | None
        Frames from one to the next; by default the scene's.
    """
    kind = f"{codec}-{'keys' if keys else 'one-key'}" + ("" if interval is None else f"-{interval}")
    interval = interval or (_SCENE.film.key_interval if keys else _NEVER)
    wanted = round(seconds * _RATE_HZ)
    if keys:
        once = _encoded(folder, kind, codec, interval, None)
        times = -(-wanted // _frames(once))
        strung = folder / f"{kind}-{times}.mp4"
        if not strung.is_file():
            _string(once, strung, times)
        return strung
    return _encoded(folder, kind, codec, interval, wanted)


def regions(folder: Path) -> dict[str, list[int]]:
    """Return the lamp's box, the panel's corners and two watched boxes: the flash, the panel."""
    truth = read_truth(_master(folder).with_suffix(".truth.json"))
    lamp, watch, panel = truth.lamp, truth.watch, truth.panel.bounding_box()
    return {
        "lamp": [lamp.x, lamp.y, lamp.width, lamp.height],
        "panel": [round(value) for corner in truth.panel.corners for value in corner],
        "flash": [watch.x, watch.y, watch.width, watch.height],
        "whole": [panel.x, panel.y, panel.width, panel.height],
    }


def _master(folder: Path) -> Path:
    path = folder / f"{_SCENE.name}.mp4"
    if not path.with_suffix(".truth.json").is_file():
        film = replace(_SCENE.film, quality=_MASTER_QUALITY)
        render_scene(replace(_SCENE, film=film), folder)
    return path


def _encoded(folder: Path, kind: str, codec: str, interval: int, frames: int | None) -> Path:
    """Return the master encoded at about the rate wanted, over and over up to so many frames."""
    path = folder / (f"{kind}.mp4" if frames is None else f"{kind}-{frames}.mp4")
    if path.is_file():
        return path
    master = _master(folder)
    count = _frames(master) if frames is None else frames
    trial = folder / ".trial.mp4"
    quality = _QUALITIES[0]
    for quality in _QUALITIES:
        _encode(trial, master, codec, quality, interval, _TRIED_FRAMES)
        if 8 * trial.stat().st_size * float(_RATE_HZ) / _TRIED_FRAMES <= _WANTED_BIT_S:
            break
    trial.unlink()
    _encode(path, master, codec, quality, interval, count)
    return path


def _encode(path: Path, master: Path, codec: str, quality: int, interval: int, count: int) -> None:
    encode_film(
        path,
        islice(_over_and_over(master), count),
        width_px=_SCENE.camera.width_px,
        height_px=_SCENE.camera.height_px,
        rate_hz=_RATE_HZ,
        codec=codec,
        quality=quality,
        key_interval=interval,
    )


def _over_and_over(path: Path) -> Iterator[Picture]:
    """Yield a film's planar pictures without end."""
    while True:
        with av.open(str(path)) as container:
            for frame in container.decode(video=0):
                yield np.asarray(frame.to_ndarray(format="yuv420p"), np.uint8)


def _frames(path: Path) -> int:
    with av.open(str(path)) as container:
        return container.streams.video[0].frames


def _string(once: Path, path: Path, times: int) -> None:
    """Write a film's packets so many times in a row, without encoding anything again."""
    part = path.with_name(f".{path.name}")
    with av.open(str(part), "w", format="mp4") as out:
        to: VideoStream | None = None
        for turn in range(times):
            with av.open(str(once)) as film:
                stream = film.streams.video[0]
                if to is None:
                    to = out.add_stream_from_template(stream)
                assert stream.time_base is not None
                later = round(turn * stream.frames / _RATE_HZ / stream.time_base)
                for packet in film.demux(stream):
                    if packet.pts is None or packet.dts is None:
                        continue  # the end of the film
                    packet.pts += later
                    packet.dts += later
                    packet.stream = to
                    out.mux(packet)
    part.replace(path)
