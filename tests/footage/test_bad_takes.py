"""open_take on bad input: one line of our own for each, FFmpeg silent, the file untouched."""

import hashlib
import os
import re
from fractions import Fraction

import av
import cv2
import numpy as np
import pytest

from blinkspan.errors import BadSetting, BlinkspanError, UnreadableTake
from blinkspan.footage.video import open_take

FAST_START = {"movflags": "faststart"}  # the table of contents first, so a cut file still has it


@pytest.fixture
def refusal_of(capfd):
    """Return a function that reads a file whole and gives the one line it is refused with."""

    def refusal(path, **settings) -> str:
        before = path.read_bytes() if path.is_file() and os.access(path, os.R_OK) else None
        with pytest.raises(BlinkspanError) as caught, open_take(path, **settings) as take:
            for _ in take:
                pass
        text = str(caught.value)
        assert "\n" not in text
        assert text.startswith(f"{path}: ")
        assert ";" in text  # what is wrong; what to do
        assert not text.endswith(".")
        assert capfd.readouterr() == ("", "")
        if before is not None:
            assert path.read_bytes() == before
        assert isinstance(caught.value, UnreadableTake)
        return text.removeprefix(f"{path}: ")

    return refusal


def test_no_such_file(tmp_path, refusal_of):
    assert refusal_of(tmp_path / "nowhere.mp4").startswith("there is no such file")


def test_a_folder(tmp_path, refusal_of):
    assert refusal_of(tmp_path).startswith("this is a folder")


def test_a_pipe(tmp_path, refusal_of):
    os.mkfifo(tmp_path / "pipe.mp4")
    assert refusal_of(tmp_path / "pipe.mp4").startswith("this is not a plain file")


@pytest.mark.skipif(os.geteuid() == 0, reason="the administrator may read every file")
def test_no_permission(make_film, refusal_of):
    film = make_film()
    film.chmod(0)
    assert refusal_of(film).startswith("the file may not be read")


def test_refused_permission_is_told_whoever_runs_the_test(make_film, monkeypatch):
    film = make_film()

    def refuse(*_, **__):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(av, "open", refuse)
    with pytest.raises(UnreadableTake, match="may not be read; ask its owner"):
        open_take(film)


def test_an_empty_file(tmp_path, refusal_of):
    (tmp_path / "empty.mp4").touch()
    assert refusal_of(tmp_path / "empty.mp4").startswith("the file is empty")


@pytest.mark.parametrize("name", ["noise.mp4", "noise.mov", "noise.avi", "noise"])
def test_bytes_that_are_no_film(tmp_path, refusal_of, name):
    (tmp_path / name).write_bytes(np.random.default_rng(4).bytes(5000))
    assert "not a film" in refusal_of(tmp_path / name)


@pytest.mark.parametrize("name", ["notes.txt", "notes.mp4"])
def test_text(tmp_path, refusal_of, name):
    (tmp_path / name).write_text("lamp on at 12:00\nlamp off at 12:01\n" * 40)
    assert refusal_of(tmp_path / name).startswith("this is not a film")


def test_a_list_that_points_elsewhere_is_not_followed(tmp_path, refusal_of, make_film):
    film = make_film()
    (tmp_path / "list.m3u8").write_text(
        f"#EXTM3U\n#EXT-X-TARGETDURATION:1\n#EXTINF:1,\nhttp://127.0.0.1:9/{film.name}\n"
    )
    assert refusal_of(tmp_path / "list.m3u8").startswith("this is not a film")


def test_sound_alone(tmp_path, refusal_of):
    path = tmp_path / "sound.m4a"
    with av.open(str(path), "w") as recording:
        stream = recording.add_stream("aac", rate=48_000, layout="mono")
        frame = av.AudioFrame.from_ndarray(np.zeros((1, 4800), np.float32), "fltp", "mono")
        frame.sample_rate = 48_000
        recording.mux(stream.encode(frame))
        recording.mux(stream.encode())
    assert refusal_of(path).startswith("the file holds sound but no film")


def test_one_frame(make_film, refusal_of):
    assert refusal_of(make_film(stamps=[0])).startswith("a take needs at least 2 frames")


def test_a_picture(tmp_path, refusal_of):
    cv2.imwrite(str(tmp_path / "still.png"), np.zeros((32, 32, 3), np.uint8))
    assert refusal_of(tmp_path / "still.png").startswith("this is not a film")


def test_the_end_is_missing_and_with_it_the_table_of_contents(make_film, refusal_of):
    film = make_film()
    whole = film.read_bytes()
    film.write_bytes(whole[: len(whole) * 6 // 10])
    assert "its end is missing" in refusal_of(film)


@pytest.mark.parametrize("codec", ["libx264", "mjpeg"])
def test_broken_off_in_the_middle(make_film, refusal_of, codec):
    pixels = "yuvj420p" if codec == "mjpeg" else "yuv420p"
    film = make_film(codec=codec, pixels=pixels, container=FAST_START, options={"g": "10"})
    whole = film.read_bytes()
    pictures_begin = whole.index(b"mdat")
    film.write_bytes(whole[: (pictures_begin + len(whole)) // 2])
    text = refusal_of(film)
    there = re.match(r"only (\d+) of the file's 60 frames are there whole; copy it again", text)
    assert there
    assert 5 < int(there[1]) < 55


def test_a_stream_that_breaks_off_is_read_with_a_note(make_film):
    # A container that lists no frames cannot promise any; its stated duration gives it away.
    film = make_film("film.mkv", codec="mjpeg", pixels="yuvj420p", stamps=range(120))
    with open_take(film) as take:
        assert take.notes == ()
    whole = film.read_bytes()
    film.write_bytes(whole[: len(whole) // 2])
    with open_take(film) as take:
        assert sum(1 for _ in take) == take.frames
        assert 40 < take.frames < 70
        assert "states 0.50 s of film" in take.notes[0]


def test_damage_in_the_middle_is_counted(make_film, refusal_of):
    film = make_film(codec="libx264", options={"g": "10", "bf": "0", "x264-params": "scenecut=0"})
    data = bytearray(film.read_bytes())
    with av.open(str(film)) as container:
        packets = [packet for packet in container.demux(video=0) if packet.size]
    # The 31st frame is a key frame; wipe its picture data, keep its length.
    spoiled = packets[30]
    assert spoiled.is_keyframe
    data[spoiled.pos + 4 : spoiled.pos + spoiled.size] = bytes([0xFF]) * (spoiled.size - 4)
    film.write_bytes(data)
    text = refusal_of(film)
    told = re.match(r"frame (\d+) cannot be decoded, (\d+) of 60 frames can; copy", text)
    assert told
    assert int(told[1]) == 30
    assert int(told[2]) < 60


def test_a_picture_patched_over_by_the_decoder_is_no_frame(make_film, refusal_of):
    # FFmpeg fills a hole in an H.264 picture from its neighbours and marks it damaged: such a
    # picture is a guess, and a guess that moves would look like a response.
    film = make_film(options={"g": "10", "bf": "0", "qp": "1", "x264-params": "scenecut=0"})
    data = bytearray(film.read_bytes())
    with av.open(str(film)) as container:
        spoiled = [packet for packet in container.demux(video=0) if packet.size][30]
    middle = spoiled.pos + spoiled.size // 2
    data[middle : middle + 8] = bytes(each ^ 0xFF for each in data[middle : middle + 8])
    film.write_bytes(data)
    with av.open(str(film)) as container:
        assert sum(1 for _ in container.decode(video=0)) == 60  # the decoder hides it
    assert refusal_of(film).startswith("frame 30 cannot be decoded")


def test_damage_does_not_spoil_what_can_be_fetched_before_it(make_film, read_number):
    film = make_film(codec="mjpeg", pixels="yuvj420p", name="film.mov")
    data = bytearray(film.read_bytes())
    with av.open(str(film)) as container:
        spoiled = [packet for packet in container.demux(video=0) if packet.size][30]
    data[spoiled.pos : spoiled.pos + spoiled.size] = bytes(spoiled.size)
    film.write_bytes(data)
    with open_take(film) as take:
        assert read_number(take.luma(29)) == 29
        with pytest.raises(UnreadableTake, match="frame 30 cannot be decoded, 59 of 60"):
            take.luma(30)
        assert read_number(take.luma(45)) == 45


def test_raw_pictures_without_times(make_film, refusal_of):
    assert refusal_of(make_film("film.h264")).startswith("the file keeps no time for some frames")


def test_b_frames_in_a_container_that_cannot_order_them(make_film, refusal_of):
    film = make_film("film.avi", options={"bf": "3", "x264-params": "b-adapt=0"})
    assert "do not follow the order of its pictures" in refusal_of(film)


def test_times_that_no_camera_keeps(make_film, refusal_of):
    film = make_film(
        stamps=range(30),
        time_base=Fraction(1, 1_000_000),
        rate=1_000_000,
        container={"video_track_timescale": "1000000"},
        options={"bf": "0"},
    )
    assert "which no camera reaches" in refusal_of(film)


@pytest.mark.parametrize("rate_hz", [0, -1, 100_001, float("nan"), float("inf")])
def test_absurd_capture_rates(make_film, rate_hz):
    with pytest.raises(BadSetting, match="give a number above 0 and up to 100000"):
        open_take(make_film(), rate_hz)


def test_absurd_threads(make_film):
    with pytest.raises(BadSetting, match="0 threads cannot decode; give 1 or more"):
        open_take(make_film(), threads=0)


def test_a_take_is_only_ever_read(make_film):
    film = make_film()
    film.chmod(0o444)
    before = hashlib.sha256(film.read_bytes()).hexdigest(), film.stat().st_mtime_ns
    with open_take(film, 960) as take:
        list(take)
        take.luma(40)
        assert take.sha256 == before[0]
    assert (hashlib.sha256(film.read_bytes()).hexdigest(), film.stat().st_mtime_ns) == before
    assert [each.name for each in film.parent.iterdir()] == [film.name]
