"""Frames as the page shows them against OpenCV's own decoding of the same file (published).

OpenCV is a second reader of the file; what it gives is turned to luma by the
weights of ITU-R BT.601 that its own conversion states.
"""

import shutil
import time
from fractions import Fraction

import av
import cv2
import numpy as np
import pytest

from blinkspan.footage.lookup import GivenUp
from blinkspan.jobs.frame_pictures import View
from blinkspan.jobs.take_frames import FrameShelf
from blinkspan.traces.regions import Rectangle


def shown(client, frame, **asked):
    answer = client.get(f"/api/takes/1/frames/{frame}", params={"shades": "grey", **asked})
    assert answer.status_code == 200, answer.text
    return cv2.imdecode(np.frombuffer(answer.content, np.uint8), cv2.IMREAD_GRAYSCALE)


def decoded(path):
    film = cv2.VideoCapture(str(path))
    while True:
        whole, picture = film.read()
        if not whole:
            return
        yield cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY)


def test_frames_are_those_of_an_independent_decode_at_20_places(client, small_take):
    rng = np.random.default_rng(5)
    wanted = rng.choice(small_take.truth.frames, 20, replace=False)
    theirs = {at: luma for at, luma in enumerate(decoded(small_take.path)) if at in wanted}
    assert len(theirs) == 20
    for at in wanted:
        ours = shown(client, int(at)).astype(float)
        assert np.abs(ours - theirs[int(at)]).mean() < 2.5


def test_b_frames_and_a_wandering_clock_show_the_same_frames_too(client, tmp_path):
    film = wandering_film(tmp_path / "wandering.mp4")
    answer = client.post(
        "/api/uploads",
        params={"study": "other", "setup": "other", "name": film.name},
        content=film.read_bytes(),
    )
    take = answer.json()["take_id"]
    theirs = list(decoded(film))
    assert len(theirs) == 120
    for at in np.random.default_rng(6).choice(120, 20, replace=False):
        picture = client.get(f"/api/takes/{take}/frames/{at}?shades=grey").content
        ours = cv2.imdecode(np.frombuffer(picture, np.uint8), cv2.IMREAD_GRAYSCALE).astype(float)
        assert np.abs(ours - theirs[at]).mean() < 2.5
        other = theirs[at - 4 if at > 4 else at + 4]
        assert np.abs(ours - other).mean() > 5.0  # the check tells frames apart


def wandering_film(path):
    """Return a film with B-frames whose stamps wander and leave out frames, as phones write it."""
    rng = np.random.default_rng(8)
    ticks = np.delete(np.arange(123), [30, 31, 70]) * 1e6 / 240 + rng.uniform(-300, 300, 120)
    across, down = np.meshgrid(np.arange(160), np.arange(90))
    with av.open(str(path), "w", options={"video_track_timescale": "1000000"}) as film:
        stream = film.add_stream("libx264", rate=240)
        stream.width, stream.height, stream.pix_fmt = 160, 90, "yuv420p"
        stream.codec_context.time_base = stream.time_base = Fraction(1, 1_000_000)
        stream.options = {"bf": "3", "g": "40", "crf": "12"}
        for number, tick in enumerate(np.sort(ticks - ticks.min())):
            wave = 120 + 90 * np.sin((across + down) / 9 + number / 2)
            frame = av.VideoFrame.from_ndarray(wave.astype(np.uint8), format="gray")
            frame.pts, frame.time_base = int(tick), Fraction(1, 1_000_000)
            film.mux(stream.encode(frame.reformat(format="yuv420p")))
        film.mux(stream.encode())
    return path


def test_a_frame_never_changes_and_says_so(client):
    first = client.get("/api/takes/1/frames/7")
    assert first.headers["content-type"] == "image/jpeg"
    assert "immutable" in first.headers["cache-control"]
    tag = first.headers["etag"]
    again = client.get("/api/takes/1/frames/7", headers={"if-none-match": tag})
    assert (again.status_code, again.content) == (304, b"")
    assert client.get("/api/takes/1/frames/8").headers["etag"] != tag


def test_a_part_is_cut_from_the_whole(client):
    part = shown(client, 30, crop="40,20,100,60")
    assert part.shape == (60, 100)
    whole = shown(client, 30).astype(float)[20:80, 40:140]
    assert np.abs(part - whole).mean() < 2.5
    assert shown(client, 30, width=80).shape == (45, 80)


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/api/takes/1/frames/-1", 422),
        ("/api/takes/1/frames/100000", 422),
        ("/api/takes/1/frames/0?crop=1,2,3", 422),
        ("/api/takes/1/frames/0?crop=300,0,100,10", 422),
        ("/api/takes/1/frames/0?width=0", 422),
        ("/api/takes/77/frames/0", 404),
    ],
)
def test_what_is_not_there_is_told_in_one_line(client, path, status):
    answer = client.get(path)
    assert answer.status_code == status
    assert "\n" not in answer.json()["error"]


def test_times_are_the_clock_of_the_take(client, small_take):
    times = client.get("/api/takes/1/frames/times").json()
    assert len(times["start_s"]) == small_take.truth.frames
    steps = np.diff(times["start_s"])
    # the stage films at 240 frames a second, stamped for playback at 30
    assert np.median(steps) == pytest.approx(1 / 240, rel=1e-4)
    assert (times["width_px"], times["height_px"]) == (320, 180)


def test_pictures_never_take_more_than_their_room(small_library):
    shelf = FrameShelf(small_library, room_bytes=60_000)
    try:
        sizes = [len(shelf.picture(1, frame)) for frame in range(40)]
        assert sum(sizes) > 60_000
        assert 0 < shelf.held_bytes <= 60_000
        small = View(Rectangle(0, 0, 16, 16))
        assert shelf.picture(1, 3, small) == shelf.picture(1, 3, small)
    finally:
        shelf.close()
    assert shelf.held_bytes == 0


def test_frames_are_in_colour_unless_asked_for_in_grey(client):
    answer = client.get("/api/takes/1/frames/7").content
    coloured = cv2.imdecode(np.frombuffer(answer, np.uint8), cv2.IMREAD_UNCHANGED)
    assert coloured.shape == (180, 320, 3)
    grey = client.get("/api/takes/1/frames/7?shades=grey").content
    assert cv2.imdecode(np.frombuffer(grey, np.uint8), cv2.IMREAD_UNCHANGED).shape == (180, 320)
    assert client.get("/api/takes/1/frames/7?shades=sepia").status_code == 422


def test_a_frame_is_the_same_as_jpeg_and_as_webp(client):
    jpeg = client.get("/api/takes/1/frames/7")
    webp = client.get("/api/takes/1/frames/7?format=webp")
    assert webp.headers["content-type"] == "image/webp"
    assert webp.content[:4] + webp.content[8:12] == b"RIFFWEBP"  # RFC 9649, 2.4
    assert webp.headers["etag"] != jpeg.headers["etag"]
    one, other = (
        cv2.imdecode(np.frombuffer(answer.content, np.uint8), cv2.IMREAD_COLOR).astype(float)
        for answer in (jpeg, webp)
    )
    assert np.abs(one - other).mean() < 2.5


def test_a_part_in_colour_is_cut_to_the_pixel_also_at_odd_places(client):
    whole = client.get("/api/takes/1/frames/30").content
    part = client.get("/api/takes/1/frames/30?crop=41,21,101,59").content
    one, other = (
        cv2.imdecode(np.frombuffer(each, np.uint8), cv2.IMREAD_COLOR).astype(float)
        for each in (whole, part)
    )
    assert other.shape == (59, 101, 3)
    assert np.abs(one[21:80, 41:142] - other).mean() < 2.5


def test_who_has_gone_gets_no_frame_and_the_next_one_does(small_library):
    shelf = FrameShelf(small_library)
    try:
        with pytest.raises(GivenUp):
            shelf.picture(1, 50, wanted=lambda: False)
        assert shelf.held_bytes == 0
        assert len(shelf.picture(1, 50)) == shelf.held_bytes > 0
    finally:
        shelf.close()


def test_small_pictures_are_made_of_every_frame_and_show_it(client, library, small_take):
    shutil.rmtree(library / "cache" / "previews")
    frames = small_take.truth.frames
    early = client.get("/api/takes/1/frames/7/preview")
    assert (early.status_code, early.content) == (204, b"")
    assert client.post("/api/takes/1/frames/ahead").json() == {"presses": 6}
    take = client.app.state.desk.frames.take(1)
    end = time.monotonic() + 60
    while not take.has_previews(0, frames):
        assert time.monotonic() < end
        time.sleep(0.05)
    theirs = dict(enumerate(decoded(small_take.path)))
    for at in np.random.default_rng(7).choice(frames, 20, replace=False):
        picture = client.get(f"/api/takes/1/frames/{at}/preview").content
        ours = cv2.imdecode(np.frombuffer(picture, np.uint8), cv2.IMREAD_GRAYSCALE).astype(float)
        assert np.abs(ours - theirs[int(at)]).mean() < 4.0
    held = list((library / "cache" / "previews").rglob("*.sqlite"))
    assert [file.stem for file in held] == [take.sha256]
