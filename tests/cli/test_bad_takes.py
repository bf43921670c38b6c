"""Bad takes through the command line: one line, exit 2, no output, the take untouched (whole job).

Films are motion JPEG where a lamp's light must be steady: H.264 lets a still
picture drift from one key frame to the next.
"""

import hashlib
import os
import wave
from fractions import Fraction

import numpy as np
import pytest

from blinkspan.footage.film import encode_film

WIDTH, HEIGHT = 96, 64
LAMP, WATCH = "6,50,6,6", "40,8,40,30"


def film(path, lit, codec="mjpeg"):
    """Write a grainy film at 240 frames a second whose lamp is lit where told."""
    rng = np.random.default_rng(1)

    def picture(on):
        grey = 60 + 2.5 * rng.standard_normal((HEIGHT, WIDTH))
        grey[8:40, 30:90] += 50
        grey[50:56, 6:12] += 120 * on
        return grey.astype(np.uint8)

    encode_film(
        path,
        [picture(on) for on in lit],
        width_px=WIDTH,
        height_px=HEIGHT,
        rate_hz=Fraction(240),
        codec=codec,
        quality=10,
    )
    return path


@pytest.fixture
def refused(run, tmp_path):
    """Return a check that measuring a file ends in one line that holds the words."""

    def check(take, words, *options):
        out = tmp_path / "out"
        out.mkdir()
        before = hashlib.sha256(take.read_bytes()).digest() if take.is_file() else None
        options = options or (f"--lamp={LAMP}", f"--watch={WATCH}")
        result = run(
            "measure", take, *options, f"--json={out / 'a.json'}", f"--csv={out / 'a.csv'}",
            f"--report={out / 'a.html'}",
        )  # fmt: skip
        assert result.exit_code == 2, result.output
        assert result.stdout == ""
        lines = result.stderr.splitlines()
        assert len(lines) == 1, result.stderr
        assert lines[0].startswith("Error: ")
        assert words in lines[0]
        assert ";" in lines[0]  # what is wrong; what to do
        assert list(out.iterdir()) == []
        if before is not None:
            assert hashlib.sha256(take.read_bytes()).digest() == before

    return check


def test_not_a_video(refused, tmp_path):
    (tmp_path / "notes.mp4").write_text("the lamp is on the left\n" * 40)
    refused(tmp_path / "notes.mp4", "not a film")


def test_an_empty_file(refused, tmp_path):
    (tmp_path / "empty.mp4").touch()
    refused(tmp_path / "empty.mp4", "empty")


@pytest.mark.parametrize("share", [0.02, 0.6, 0.999])
def test_a_truncated_take(refused, tmp_path, small_take, share):
    whole = small_take.path.read_bytes()
    (tmp_path / "cut.mp4").write_bytes(whole[: int(share * len(whole))])
    refused(tmp_path / "cut.mp4", "copy it again")


def test_a_take_with_damage_in_the_middle(refused, tmp_path, small_take, known):
    whole = bytearray(small_take.path.read_bytes())
    middle = len(whole) // 2
    whole[middle : middle + 60_000] = bytes(60_000)
    (tmp_path / "damaged.mp4").write_bytes(whole)
    refused(tmp_path / "damaged.mp4", "cannot be decoded", *known)


def test_sound_alone(refused, tmp_path):
    with wave.open(str(tmp_path / "sound.wav"), "wb") as sound:
        sound.setnchannels(1)
        sound.setsampwidth(2)
        sound.setframerate(8000)
        sound.writeframes(bytes(16000))
    refused(tmp_path / "sound.wav", "sound but no film")


def test_one_frame(refused, tmp_path):
    refused(film(tmp_path / "one.mov", [True]), "at least 2 frames")


def test_a_moment_of_film(refused, tmp_path):
    refused(film(tmp_path / "moment.mov", [i > 8 for i in range(20)]), "film some seconds")


@pytest.mark.parametrize(
    ("option", "words"),
    [
        ("--lamp=300,60,40,12", "lamp region 300,60,40,12 leaves the 320x180 picture"),
        ("--lamp=-4,60,20,12", "leaves the 320x180 picture"),
        ("--lamp=10,10,0,5", "give a width and height above 0"),
        ("--watch=200,170,38,30", "watched region 200,170,38,30 leaves"),
        ("--panel=80,9,400,129", "the panel's corner 480,9 leaves"),
        ("--panel=80,9,310,138,310,9,80,138", "do not go round"),
        ("--panel=310,138,80,138,80,9,310,9", "do not begin at the picture's top left"),
        ("--panel=310,9,310,138,80,138,80,9", "do not begin at the picture's top left"),
        ("--lamp=210,70,20,20", "overlap"),
        ("--lamp=a,b,c,d", "give X,Y,W,H in whole pixels"),
        ("--lamp=1,2,3", "give X,Y,W,H in whole pixels"),
        ("--panel=1,2,3,nan", "give X,Y,W,H, or its four corners"),
    ],
)
def test_a_region_that_cannot_be(refused, small_take, known, option, words):
    refused(small_take.path, words, *known, option)


def test_no_lamp_where_it_is_looked_for(refused, small_take, known):
    refused(small_take.path, "no lamp found", *known, "--lamp=4,4,12,12")


def test_no_lamp_anywhere(refused, tmp_path):
    refused(film(tmp_path / "dark.mov", [False] * 240), "no lamp found", f"--watch={WATCH}")


def test_a_lamp_that_is_always_on(refused, tmp_path):
    refused(film(tmp_path / "on.mov", [True] * 240), "always on")


def test_a_lamp_lit_from_the_start_and_never_pressed_again(refused, tmp_path):
    refused(film(tmp_path / "lit.mov", [i < 80 for i in range(240)]), "no presses")


def test_a_lamp_that_is_never_pressed(refused, tmp_path):
    refused(film(tmp_path / "dark.mov", [False] * 240), "no lamp found")


@pytest.mark.parametrize(
    ("option", "words"),
    [
        ("--capture-rate=0", "capture rate is given as 0 frames"),
        ("--capture-rate=-240", "capture rate is given as -240"),
        ("--capture-rate=nan", "capture rate is given as nan"),
        ("--capture-rate=1e9", "given as 1e+09"),
        ("--refresh=0.5", "refresh rate is given as 0.5 Hz"),
        ("--refresh=inf", "given as inf Hz"),
        ("--game-rate=0", "game rate is given as 0"),
        ("--game-rate=5000", "given as 5000"),
        ("--lag=-3", "display lag is given as -3 ms"),
        ("--lag-u=0.5", "without the lag"),
        ("--exposure=40", "longer than a frame of 4.167 ms"),
        ("--readout=4.6", "longer than a frame of 4.167 ms"),
        ("--exposure=0", "exposure is given as 0 ms"),
    ],
)
def test_a_value_that_cannot_be_right(refused, small_take, known, option, words):
    refused(small_take.path, words, *known, option)


def test_paths_that_cannot_be_read(refused, tmp_path):
    (tmp_path / "file").touch()
    refused(tmp_path / "nowhere.mp4", "there is no such file")
    (tmp_path / "out").rmdir()
    refused(tmp_path, "this is a folder")
    (tmp_path / "out").rmdir()
    refused(tmp_path / "file" / "take.mp4", "there is no such file")


def test_a_name_that_no_disk_takes(run, tmp_path):
    result = run("measure", tmp_path / ("a" * 300), f"--lamp={LAMP}", f"--watch={WATCH}")
    assert result.exit_code == 2
    assert result.stderr.count("\n") == 1
    assert "name too long" in result.stderr


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="everything may be read here")
def test_a_file_that_may_not_be_read(refused, small_take, tmp_path):
    take = tmp_path / "locked.mp4"
    take.write_bytes(small_take.path.read_bytes())
    take.chmod(0)
    try:
        refused(take, "may not be read")
    finally:
        take.chmod(0o600)
