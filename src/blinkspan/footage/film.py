"""Encode frames to a clip, whole or not at all.

The clip is written under a temporary name beside its place and renamed when
it is complete, so that an interruption or a full disk leaves nothing half-written.
Luma is taken as BT.709 limited range (16 black, 235 white) and tagged so.
"""

import contextlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from math import lcm
from pathlib import Path
from typing import Any

import av
import av.error
import numpy as np
import numpy.typing as npt
from av.container import OutputContainer
from av.video.reformatter import ColorPrimaries, ColorRange, Colorspace, ColorTrc
from av.video.stream import VideoStream

from blinkspan.errors import BadSetting, UnwritableOutput

Picture = npt.NDArray[np.uint8]

_FINEST_TICK_HZ = 1_000_000  # time stamps finer than a microsecond are rounded to it
_GREY = 128  # chroma of a picture without colour


@dataclass(frozen=True, slots=True)
class _Codec:
    encoder: str
    pixels: str
    pixels_10_bit: str | None
    container: str
    tag: str | None
    options: Mapping[str, str]
    even_only: bool


_CODECS = {
    "h264": _Codec(
        "libx264", "yuv420p", "yuv420p10le", "mp4", None, {"preset": "veryfast"}, even_only=True
    ),
    "hevc": _Codec(
        "libx265",
        "yuv420p",
        "yuv420p10le",
        "mp4",
        "hvc1",
        {"preset": "ultrafast", "x265-params": "log-level=none"},
        even_only=True,
    ),
    "mjpeg": _Codec("mjpeg", "yuvj420p", None, "mov", None, {}, even_only=False),
    "prores": _Codec(
        "prores_ks", "yuv422p10le", "yuv422p10le", "mov", None, {"profile": "hq"}, even_only=True
    ),
}
CODECS = tuple(_CODECS)


def encode_film(
    path: Path,
    frames: Iterable[Picture],
    *,
    width_px: int,
    height_px: int,
    rate_hz: Fraction,
    codec: str = "h264",
    quality: int = 18,
    key_interval: int = 60,
    bit_depth: int = 8,
    stamps: Sequence[Fraction] | None = None,
    metadata: Mapping[str, str] | None = None,
    threads: int = 0,
) -> int:
    """Return how many frames were encoded to ``path``.

    Parameters
    ----------
    path : Path
        Replaced if it exists; its folder must exist.
    frames : iterable of ndarray of uint8
        Each a luma plane (height, width), a planar picture with half-size chroma
        (height * 3 / 2, width), or RGB (height, width, 3).
    rate_hz : Fraction
        Frames a second that the container states; also the length of the last frame.
    codec : str
        "h264", "hevc", "mjpeg" or "prores".
    quality : int
        Constant quality of H.264 and HEVC (lower is better), quantiser of MJPEG;
        without effect on ProRes.
    key_interval : int
        Most frames from one key frame to the next.
    bit_depth : int
        8 or 10; ProRes is always 10.
    stamps : sequence of Fraction, optional
        Seconds at which each frame is shown, rising; by default ``i / rate_hz``.
    metadata : mapping, optional
        Written as the container's own key-value tags.
    threads : int
        Encoder threads; 0 leaves the number to the encoder.

    Raises
    ------
    BadSetting
        An unknown codec, a size or a depth the codec cannot hold, stamps that do not
        rise or are fewer than the frames, a frame of another shape, no frames at all.
    UnwritableOutput
        The folder is missing, not writable or full.
    """
    chosen, pixels = _check(codec, width_px, height_px, rate_hz, bit_depth)
    tick = _tick(rate_hz, stamps)
    part = path.with_name(f".{path.name}.part")
    try:
        with _writing(path):
            container = av.open(
                str(part),
                "w",
                format=chosen.container,
                options={"movflags": "use_metadata_tags"} if metadata else {},
            )
        with _closed_at_last(container):
            container.metadata.update(metadata or {})
            stream = container.add_stream(chosen.encoder, rate=rate_hz)
            assert isinstance(stream, VideoStream)
            _set_up(stream, chosen, pixels, (width_px, height_px), quality, key_interval, threads)
            stream.codec_context.time_base = tick
            count = 0
            for count, picture in enumerate(frames, start=1):
                frame = _frame(picture, width_px, height_px, pixels)
                frame.time_base = tick
                frame.pts = _pts(count - 1, rate_hz, stamps, tick)
                frame.duration = round(1 / (rate_hz * tick))
                with _writing(path):
                    container.mux(stream.encode(frame))
            if count == 0:
                raise BadSetting(f"{path}: there are no frames to encode; give at least one")
            with _writing(path):
                container.mux(stream.encode(None))
                container.close()
        with _writing(path):
            part.replace(path)
    finally:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
    return count


@contextlib.contextmanager
def _closed_at_last(container: OutputContainer) -> Iterator[None]:
    """Close the container whatever happens, without hiding why it could not be finished."""
    try:
        yield
    finally:
        with contextlib.suppress(OSError, av.error.FFmpegError):
            container.close()


def _check(
    codec: str, width_px: int, height_px: int, rate_hz: Fraction, bit_depth: int
) -> tuple[_Codec, str]:
    """Return the codec and its pixel format, refused where they cannot hold the picture."""
    chosen = _CODECS.get(codec)
    if chosen is None:
        raise BadSetting(f"there is no codec {codec!r}; choose one of {', '.join(_CODECS)}")
    if width_px < 16 or height_px < 16:
        raise BadSetting(f"a film of {width_px}x{height_px} pixels is too small; use 16 or more")
    if chosen.even_only and (width_px % 2 or height_px % 2):
        raise BadSetting(
            f"{codec} cannot hold {width_px}x{height_px} pixels; use an even width and height"
        )
    if rate_hz <= 0:
        raise BadSetting(f"a film cannot run at {rate_hz} frames/s; give a rate above 0")
    pixels = {8: chosen.pixels, 10: chosen.pixels_10_bit}.get(bit_depth)
    if pixels is None:
        raise BadSetting(f"{codec} cannot hold {bit_depth} bits; use 8, or hevc with 10")
    return chosen, pixels


def _tick(rate_hz: Fraction, stamps: Sequence[Fraction] | None) -> Fraction:
    """Return the coarsest time base in which every stamp is exact, no finer than a microsecond."""
    if stamps is None:
        return 1 / rate_hz
    if any(later <= sooner for sooner, later in pairwise(stamps)):
        raise BadSetting("the time stamps of the frames do not rise; sort them")
    finest = 1
    for stamp in (1 / rate_hz, *stamps):
        finest = lcm(finest, stamp.denominator)
        if finest > _FINEST_TICK_HZ:
            return Fraction(1, _FINEST_TICK_HZ)
    return Fraction(1, finest)


def _pts(index: int, rate_hz: Fraction, stamps: Sequence[Fraction] | None, tick: Fraction) -> int:
    """Return the frame's stamp in ticks."""
    if stamps is None:
        return index
    if index >= len(stamps):
        raise BadSetting(f"only {len(stamps)} time stamps were given; give one for each frame")
    return round(stamps[index] / tick)


def _set_up(
    stream: VideoStream,
    chosen: _Codec,
    pixels: str,
    size_px: tuple[int, int],
    quality: int,
    key_interval: int,
    threads: int,
) -> None:
    """Give the encoder its size, quality and colour tags."""
    stream.width, stream.height = size_px
    stream.pix_fmt = pixels
    context = stream.codec_context
    context.gop_size = key_interval
    context.thread_count = threads
    context.thread_type = "FRAME"  # slice threads would cut each picture into strips
    context.color_range = ColorRange.JPEG if pixels == "yuvj420p" else ColorRange.MPEG
    context.color_primaries = ColorPrimaries.BT709
    context.color_trc = ColorTrc.BT709
    context.colorspace = Colorspace.ITU709
    options = dict(chosen.options)
    if chosen.encoder == "mjpeg":
        context.qmin = context.qmax = max(2, quality // 4)
    elif chosen.encoder != "prores_ks":
        options["crf"] = str(quality)
    context.options = options
    if chosen.tag:
        context.codec_tag = chosen.tag


def _frame(picture: Picture, width_px: int, height_px: int, pixels: str) -> Any:
    """Return the picture as a frame in the encoder's pixel format."""
    if picture.shape == (height_px, width_px, 3):
        frame = av.VideoFrame.from_ndarray(picture, format="rgb24")
        full = pixels == "yuvj420p"
        return frame.reformat(
            format=pixels,
            dst_colorspace=Colorspace.ITU709,
            dst_color_range=ColorRange.JPEG if full else ColorRange.MPEG,
        )
    if picture.shape not in ((height_px, width_px), (height_px * 3 // 2, width_px)):
        raise BadSetting(
            f"a frame has the shape {picture.shape}; the film is {width_px}x{height_px} pixels"
        )
    if pixels == "yuvj420p":
        picture = _to_full_range(picture, height_px)
    frame = _planar(picture, width_px, height_px, "yuvj420p" if pixels == "yuvj420p" else "yuv420p")
    return frame if frame.format.name == pixels else frame.reformat(format=pixels)


def _planar(picture: Picture, width_px: int, height_px: int, pixels: str) -> Any:
    """Return a planar frame filled row by row, whatever padding its lines have."""
    frame = av.VideoFrame(width_px, height_px, pixels)
    half_width, half_height = (width_px + 1) // 2, (height_px + 1) // 2
    _fill(frame.planes[0], picture[:height_px])
    if picture.shape[0] == height_px:
        grey = np.full((half_height, half_width), _GREY, np.uint8)
        _fill(frame.planes[1], grey)
        _fill(frame.planes[2], grey)
    else:
        chroma = picture[height_px:].reshape(2, half_height, half_width)
        _fill(frame.planes[1], chroma[0])
        _fill(frame.planes[2], chroma[1])
    return frame


def _fill(plane: Any, values: Picture) -> None:
    """Copy an array into a plane whose lines may be longer than the array's."""
    target = np.frombuffer(plane, np.uint8).reshape(-1, plane.line_size)
    target[: values.shape[0], : values.shape[1]] = values


def _to_full_range(picture: Picture, height_px: int) -> Picture:
    """Return limited-range codes stretched to 0..255: motion JPEG knows no limited range."""
    codes = np.arange(256.0)
    luma = np.clip(np.rint((codes - 16) * 255 / 219), 0, 255).astype(np.uint8)
    chroma = np.clip(np.rint((codes - 128) * 255 / 224 + 128), 0, 255).astype(np.uint8)
    return np.concatenate((luma[picture[:height_px]], chroma[picture[height_px:]]))


@contextlib.contextmanager
def _writing(path: Path) -> Iterator[None]:
    """Turn the library's refusals to write into one of ours."""
    try:
        yield
    except (OSError, av.error.FFmpegError) as refusal:
        reason = getattr(refusal, "strerror", None) or str(refusal)
        raise UnwritableOutput(
            f"{path}: cannot be written ({reason.lower()}); choose another folder or free space"
        ) from refusal
