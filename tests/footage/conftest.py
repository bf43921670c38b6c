"""Films with a number written into every picture, so that a frame can say which one it is."""

from collections.abc import Callable, Sequence
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest

BITS = 10
BLOCK_PX = 12
WIDTH_PX, HEIGHT_PX = BITS * BLOCK_PX + 6, 50

FilmMaker = Callable[..., Path]


def numbered_picture(number: int, width_px: int = WIDTH_PX) -> np.ndarray:
    """Return a grey picture with a number in ten light or dark columns across its upper half."""
    picture = np.full((HEIGHT_PX, width_px), 60, np.uint8)
    for bit in range(BITS):
        left = bit * BLOCK_PX
        picture[: HEIGHT_PX // 2, left : left + BLOCK_PX] = 200 if number >> bit & 1 else 30
    picture[HEIGHT_PX // 2 :, : width_px // 2] = 60 + number % 100
    return picture


def number_in(luma: np.ndarray) -> int:
    """Return the number written into a picture, whatever its bit depth."""
    depth_scale = 1 if luma.dtype == np.uint8 else 4
    number = 0
    for bit in range(BITS):
        left = bit * BLOCK_PX
        middle = luma[6 : HEIGHT_PX // 2 - 6, left + 3 : left + BLOCK_PX - 3]
        number |= int(middle.mean() > 115 * depth_scale) << bit
    return number


@pytest.fixture
def make_film(tmp_path: Path) -> FilmMaker:
    """Return a maker of films: name, codec, pixel format, stamps in ticks of a time base."""

    def make(
        name: str = "film.mp4",
        *,
        codec: str = "libx264",
        pixels: str = "yuv420p",
        stamps: Sequence[int] = tuple(range(60)),
        time_base: Fraction = Fraction(1, 240),
        rate: Fraction | int = 240,
        width_px: int = WIDTH_PX,
        options: dict[str, str] | None = None,
        container: dict[str, str] | None = None,
        metadata: dict[str, str] | None = None,
        matrix: Sequence[int] | None = None,
        colour: dict[str, int] | None = None,
    ) -> Path:
        path = tmp_path / name
        with av.open(str(path), "w", options=container or {}) as film:
            film.metadata.update(metadata or {})
            stream = film.add_stream(codec, rate=rate, options=options or {})
            stream.width, stream.height, stream.pix_fmt = width_px, HEIGHT_PX, pixels
            stream.codec_context.time_base = time_base
            for name_, value in (colour or {}).items():
                setattr(stream.codec_context, name_, value)
            if matrix is not None:
                stream.set_display_matrix(matrix)
            for number, stamp in enumerate(stamps):
                grey = av.VideoFrame.from_ndarray(numbered_picture(number, width_px), "gray")
                # Grey is full range, as the picture's levels are meant; keep the codes as they are.
                frame = grey.reformat(format=pixels, src_color_range="MPEG", dst_color_range="MPEG")
                frame.pts, frame.time_base = stamp, time_base
                for packet in stream.encode(frame):
                    film.mux(packet)
            for packet in stream.encode():
                film.mux(packet)
        return path

    return make


@pytest.fixture
def read_number() -> Callable[[np.ndarray], int]:
    """Return the reader of the number in a picture."""
    return number_in
