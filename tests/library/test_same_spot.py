"""The same-spot check: known pictures, of scikit-image's own collection, filmed twice."""

from fractions import Fraction

import cv2
import numpy as np
import pytest
from invented_takes import LAG_SETUP, LAG_STUDY
from skimage import data

from blinkspan.footage.film import encode_film
from blinkspan.jobs.add import add
from blinkspan.jobs.same_spot import check_spot, likeness
from blinkspan.library.backup import backup, restore
from blinkspan.library.check import check
from blinkspan.library.findings import Weight
from blinkspan.library.kept import Still
from blinkspan.library.store import Library
from blinkspan.traces.regions import Quadrilateral

WIDTH, HEIGHT = 480, 270
PANEL = ((100.0, 20.0), (460.0, 24.0), (455.0, 230.0), (104.0, 226.0))


def moved(corners, right, down):
    return tuple((x + right, y + down) for x, y in corners)


def film(path, picture, corners=PANEL, light=1.0, noise=2.0, seed=1):
    """Return the path of a clip of a panel that shows a picture, in a room."""
    rng = np.random.default_rng(seed)
    height, width = picture.shape
    square = np.float32([[0, 0], [width, 0], [width, height], [0, height]])
    turn = cv2.getPerspectiveTransform(square, np.float32(corners))
    room = np.full((HEIGHT, WIDTH), 40.0, np.float32)
    seen = cv2.warpPerspective(
        light * picture.astype(np.float32), turn, (WIDTH, HEIGHT), room,
        borderMode=cv2.BORDER_TRANSPARENT,
    )  # fmt: skip
    frames = (
        np.clip(seen + rng.normal(0, noise, seen.shape), 16, 235).astype(np.uint8)
        for _ in range(30)
    )
    encode_film(path, frames, width_px=WIDTH, height_px=HEIGHT, rate_hz=Fraction(240))
    return path


@pytest.fixture
def filmed(sqlite_library, tmp_path):
    """Return a function that films a picture and adds the take."""
    setup = sqlite_library.setup(LAG_STUDY.name, LAG_SETUP.name)

    def bring(name, picture, **how):
        return sqlite_library.add_take(film(tmp_path / name, picture, **how), setup).take

    return bring


def quadrilateral(corners):
    return Quadrilateral(corners)


def test_one_spot_filmed_again_from_nearby_and_darker_is_the_same(sqlite_library, filmed):
    there = moved(PANEL, 9, -7)
    first = filmed("a.mp4", data.camera())
    again = filmed("b.mp4", data.camera(), corners=there, light=0.6, noise=6.0, seed=2)
    assert check_spot(sqlite_library, first, quadrilateral(PANEL)) is None
    found = check_spot(sqlite_library, again, quadrilateral(there))
    assert (found.on_panel, found.same) == (True, True)
    assert found.similarity > 0.8
    whole = check_spot(sqlite_library, again)
    assert (whole.on_panel, whole.same) == (False, True)


@pytest.mark.parametrize("other", [data.coins, data.page, data.brick, data.moon])
def test_another_spot_is_told(sqlite_library, filmed, other):
    first = filmed("a.mp4", data.camera())
    away = filmed("b.mp4", other())
    check_spot(sqlite_library, first, quadrilateral(PANEL))
    for found in (
        check_spot(sqlite_library, away, quadrilateral(PANEL)),
        check_spot(sqlite_library, away),
    ):
        assert not found.same
        assert "elsewhere in the title" in str(found)


def test_adding_tells_of_a_take_shot_elsewhere(sqlite_library, tmp_path):
    clips = [film(tmp_path / "a.mp4", data.camera()), film(tmp_path / "b.mp4", data.coins())]
    outcomes = list(add(sqlite_library.folder, clips, LAG_STUDY.name, LAG_SETUP))
    assert [o.spot and o.spot.same for o in outcomes] == [None, False]


def test_likeness_ignores_shift_light_and_contrast_and_is_one_for_itself():
    picture = cv2.resize(data.camera(), (320, 180)).astype(np.float32)
    assert likeness(picture, picture) == pytest.approx(1.0)
    assert likeness(picture, 0.5 * picture + 20) == pytest.approx(1.0, abs=1e-5)
    shifted = np.roll(picture, (3, -5), (0, 1))
    assert likeness(picture, shifted) > 0.95
    assert likeness(picture, shifted) == pytest.approx(likeness(shifted, picture), abs=0.02)
    assert likeness(picture, picture[::-1].copy()) < 0.4


def test_a_still_is_kept_saved_and_cleared_away_when_replaced(sqlite_library, filmed, tmp_path):
    library = sqlite_library
    first = filmed("a.mp4", data.camera())
    check_spot(library, first)
    setup = library.setup_of(first)
    still = library.still(setup)
    assert still.panel is None
    check_spot(library, first, quadrilateral(PANEL))  # the panel is known later
    assert library.still(setup).png == still.png
    assert library.still(setup).panel == Quadrilateral(PANEL)
    assert list(check(library)) == []
    *_, place = restore(list(backup(library, tmp_path / "backups"))[-1], tmp_path / "again")
    with Library.open(place) as again:
        assert again.still(setup) == library.still(setup)
        assert list(check(again)) == []
    _, packed = cv2.imencode(".png", data.coins())
    library.keep_still(setup, Still(packed.tobytes(), None))
    (found,) = check(library)
    assert found.weight is Weight.NOTE
    assert "left over" in found.text
