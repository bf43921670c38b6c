"""luma_plane and turn_of: exact (hand-made frames), and OpenCV's own turning as judge."""

import av
import cv2
import numpy as np
import pytest

from blinkspan.errors import UnreadableTake
from blinkspan.footage.luma import Turn, luma_plane, picture_format, turn_of
from blinkspan.footage.video import open_take

UPRIGHT = Turn()
ONE = 1 << 16  # ISO/IEC 14496-12: the first two columns are 16.16 fixed point


def luma_frame(pixels: str, values: np.ndarray) -> av.VideoFrame:
    """Return a frame of a planar or half-planar format whose luma is ``values``."""
    height, width = values.shape
    frame = av.VideoFrame(width, height, pixels)
    for number, plane in enumerate(frame.planes):
        rows = np.frombuffer(memoryview(plane), values.dtype)
        rows = rows.reshape(-1, plane.line_size // values.itemsize)
        rows[:] = 99  # what lies in the padding must not be seen
        if number == 0:
            rows[:height, :width] = values
    return frame


@pytest.mark.parametrize(
    ("pixels", "bits"),
    [
        ("yuv420p", 8),
        ("yuvj420p", 8),
        ("nv12", 8),
        ("yuv422p", 8),
        ("gray", 8),
        ("yuv420p10le", 10),
        ("yuv422p10le", 10),
        ("yuv444p12le", 12),
        ("gray10le", 10),
        ("gray16le", 16),
    ],
)
@pytest.mark.parametrize("width", [33, 64])
def test_planes_are_read_as_they_lie(pixels, bits, width):
    rng = np.random.default_rng(1)
    dtype = np.uint8 if bits == 8 else np.uint16
    values = rng.integers(0, 1 << bits, (17, width)).astype(dtype)
    frame = luma_frame(pixels, values)
    got = luma_plane(frame, UPRIGHT)
    assert got.dtype == dtype
    assert np.array_equal(got, values)
    assert not got.flags.owndata
    picture, notes = picture_format(frame, UPRIGHT)
    assert (picture.width_px, picture.height_px, picture.bit_depth) == (width, 17, bits)
    assert picture.full_range == pixels.startswith(("gray", "yuvj"))
    assert notes == ()


def test_packed_pixels_are_unpacked():
    # YUYV: luma on every even byte; chroma 90 and 200 must not be seen.
    values = np.arange(16 * 8, dtype=np.uint8).reshape(8, 16)
    frame = av.VideoFrame(16, 8, "yuyv422")
    rows = np.frombuffer(memoryview(frame.planes[0]), np.uint8).reshape(8, -1)
    rows[:, 0:32:2] = values
    rows[:, 1:32:4], rows[:, 3:32:4] = 90, 200
    assert np.array_equal(luma_plane(frame, UPRIGHT), values)


def test_ten_bits_kept_in_the_high_bits_come_out_in_the_low_ones():
    values = np.arange(0, 1024, 8, dtype=np.uint16).reshape(8, 16)
    frame = luma_frame("p010le", values << 6)
    got = luma_plane(frame, UPRIGHT)
    assert np.array_equal(got, values)
    assert picture_format(frame, UPRIGHT)[0].bit_depth == 10


def test_big_ends_first_are_turned_round():
    values = np.arange(0, 1024, 8, dtype=np.uint16).reshape(8, 16)
    frame = luma_frame("yuv420p10be", values.byteswap())
    assert np.array_equal(luma_plane(frame, UPRIGHT), values)


def test_rgb_becomes_grey_of_full_range():
    # Neutral grey has the same code in every channel, whichever luma weights are used.
    levels = np.repeat(np.arange(0, 256, 4, dtype=np.uint8), 3).reshape(4, 16, 3)
    frame = av.VideoFrame.from_ndarray(levels, "rgb24")
    picture, _ = picture_format(frame, UPRIGHT)
    assert picture.full_range
    assert picture.transfer == "srgb"
    assert np.abs(luma_plane(frame, UPRIGHT).astype(int) - levels[..., 0]).max() <= 1


def corner_picture() -> np.ndarray:
    """Return a picture whose every quarter turn and mirror image differ."""
    picture = np.full((32, 48), 20, np.uint8)
    picture[:8, :24] = 200
    picture[:24, :8] = 120
    return picture


# a b u / c d v / x y w, for what is to be done to the stored picture.
TURNS = {
    "as stored": ([ONE, 0, 0, 0, ONE, 0, 0, 0, 1 << 30], lambda p: p),
    "a quarter to the right": ([0, ONE, 0, -ONE, 0, 0, 0, 0, 1 << 30], lambda p: np.rot90(p, -1)),
    "half": ([-ONE, 0, 0, 0, -ONE, 0, 0, 0, 1 << 30], lambda p: np.rot90(p, 2)),
    "a quarter to the left": ([0, -ONE, 0, ONE, 0, 0, 0, 0, 1 << 30], lambda p: np.rot90(p)),
    "mirrored": ([-ONE, 0, 0, 0, ONE, 0, 0, 0, 1 << 30], np.fliplr),
    "upside down": ([ONE, 0, 0, 0, -ONE, 0, 0, 0, 1 << 30], np.flipud),
    "transposed": ([0, ONE, 0, ONE, 0, 0, 0, 0, 1 << 30], np.transpose),
}


@pytest.fixture
def turned_film(tmp_path):
    """Return a maker of a lossless film of the corner picture under a display matrix."""

    def make(matrix):
        path = tmp_path / "turned.mov"
        with av.open(str(path), "w") as film:
            stream = film.add_stream("libx264", rate=240, options={"qp": "0"})
            stream.width, stream.height, stream.pix_fmt = 48, 32, "yuv420p"
            stream.set_display_matrix(matrix)
            for number in range(3):
                frame = luma_frame("yuv420p", corner_picture())
                frame.planes[1].update(bytes([128]) * frame.planes[1].buffer_size)
                frame.planes[2].update(bytes([128]) * frame.planes[2].buffer_size)
                frame.pts = number
                film.mux(stream.encode(frame))
            film.mux(stream.encode())
        return path

    return make


@pytest.mark.parametrize(("matrix", "expected"), TURNS.values(), ids=TURNS.keys())
def test_the_picture_is_turned_as_the_file_asks(turned_film, matrix, expected):
    # Expected from the matrix's definition in ISO/IEC 14496-12: (x, y) -> (ax + cy, bx + dy).
    shown = expected(corner_picture())
    with open_take(turned_film(matrix)) as take:
        assert (take.format.height_px, take.format.width_px) == shown.shape
        for luma in take:
            assert np.array_equal(luma, shown)
            assert luma.strides[1] == 1  # rows OpenCV can read without a copy
        assert np.array_equal(take.luma(1), shown)


@pytest.mark.parametrize(("matrix", "expected"), TURNS.values(), ids=TURNS.keys())
def test_the_shutter_runs_as_stored_rows_come_to_lie(turned_film, matrix, expected):
    read_at = expected(np.repeat(np.arange(32)[:, None], 48, axis=1))
    down, right = (int(np.sign(np.diff(read_at, axis=axis).mean())) for axis in (0, 1))
    with open_take(turned_film(matrix)) as take:
        shutter = take.format.shutter
    assert (shutter.down, shutter.right) == (down, right)


@pytest.mark.parametrize("turn", ["a quarter to the right", "half", "a quarter to the left"])
def test_opencv_turns_the_same_way(turned_film, turn):
    path = turned_film(TURNS[turn][0])
    judge = cv2.VideoCapture(str(path))
    seen, colour = judge.read()
    judge.release()
    assert seen
    with open_take(path) as take:
        luma = take.luma(0).astype(float)
    full = (luma - 16) * 255 / 219  # OpenCV hands out full-range colour
    assert colour.shape[:2] == luma.shape
    # OpenCV's scaler also smooths nothing here: grey codes agree to rounding.
    assert np.abs(np.clip(full, 0, 255) - colour[..., 1]).max() <= 2


def test_a_crooked_turn_is_refused(turned_film):
    half = round(ONE * 0.5**0.5)
    matrix = [half, half, 0, -half, half, 0, 0, 0, 1 << 30]
    with pytest.raises(UnreadableTake, match="only quarter turns"):
        open_take(turned_film(matrix))


def test_no_matrix_is_upright():
    assert turn_of(av.VideoFrame(16, 16, "yuv420p")) == UPRIGHT
