"""One of the loops that the speed table compares, in a process of its own.

Run by speed.py: speed_loops.py make FOLDER CODEC SECONDS KEYS prints a take's path,
rate and regions; speed_loops.py LOOP TAKE REGIONS prints seconds and frames.
"""

import json
import os
import resource
import sys
import time
from pathlib import Path

import av
import cv2

from blinkspan.jobs.measure import MeasuredTake, measure_take
from blinkspan.jobs.measure_settings import MeasureSettings
from blinkspan.traces.regions import Quadrilateral, Rectangle
from speed_takes import make_take, regions

_REFRESH_HZ = 60000 / 1001


def analysis(take: Path, lamp: Rectangle, watch: Rectangle, panel: Quadrilateral) -> int:
    """Return the frames of a take after measuring it whole."""
    settings = MeasureSettings(lamp=lamp, panel=panel, watch=watch, refresh_hz=_REFRESH_HZ)
    for step in measure_take(take, settings):
        if isinstance(step, MeasuredTake):
            return step.measurement.take.frames
    raise AssertionError("the job ends with the measured take")


def bare_decode(take: Path) -> int:
    """Return the frames of a take after decoding it and nothing else, on all processors."""
    frames = 0
    with av.open(str(take)) as container:
        stream = container.streams.video[0]
        stream.thread_type = "FRAME"
        stream.thread_count = os.cpu_count() or 1
        for _ in container.decode(stream):
            frames += 1
    return frames


def plain_loop(take: Path, lamp: Rectangle, watch: Rectangle) -> int:
    """Return the frames of a take after the usual loop: colour frames and two region means."""
    film = cv2.VideoCapture(str(take))
    frames = 0
    means = []
    while True:
        there, picture = film.read()
        if not there:
            return frames
        frames += 1
        for box in (lamp, watch):
            part = picture[box.y : box.y + box.height, box.x : box.x + box.width]
            means.append(cv2.mean(part))


def cpu_s() -> float:
    """Return the processor time of this process and of those it has started."""
    who = (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    return sum(u.ru_utime + u.ru_stime for u in map(resource.getrusage, who))


def main() -> None:
    """Do what the command line says and print the result as JSON."""
    loop, *words = sys.argv[1:]
    if loop == "make":
        folder = Path(words[0])
        folder.mkdir(parents=True, exist_ok=True)
        take = make_take(folder, words[1], float(words[2]), keys=words[3] == "keys")
        print(json.dumps({"take": str(take), "regions": regions(folder)}))
        return
    take, places = Path(words[0]), json.loads(words[1])
    lamp, watch = Rectangle(*places["lamp"]), Rectangle(*places["watch"])
    x = places["panel"]
    panel = Quadrilateral(((x[0], x[1]), (x[2], x[3]), (x[4], x[5]), (x[6], x[7])))
    used_s, started = cpu_s(), time.perf_counter()
    if loop == "analysis":
        frames = analysis(take, lamp, watch, panel)
    elif loop == "decode":
        frames = bare_decode(take)
    else:
        frames = plain_loop(take, lamp, watch)
    wall_s = time.perf_counter() - started
    print(json.dumps({"s": wall_s, "cpu_s": cpu_s() - used_s, "frames": frames}))


if __name__ == "__main__":
    main()
