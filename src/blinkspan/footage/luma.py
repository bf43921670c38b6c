"""From a decoded frame to its luma plane as shown.

The plane is a view of the decoder's own memory wherever plane 0 is luma and
the picture is not turned: no copy, no conversion to colour.
"""

import struct
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
from av.sidedata.sidedata import SideData
from av.video.format import VideoFormat
from av.video.frame import VideoFrame

from blinkspan.errors import UnreadableTake
from blinkspan.footage.frames import Luma, PictureFormat, Shutter, TransferCurve

# Numbers of ITU-T H.273 tables 3 (transfer) and of FFmpeg's colour range.
_SRGB, _LINEAR = 13, 8
_SAME_AS_BT709 = {1, 2, 6, 14, 15}  # 2: unspecified, read as BT.709 here
_FULL = 2
_CURVE_NAMES = {4: "gamma 2.2", 5: "gamma 2.8", 16: "PQ (HDR)", 18: "HLG (HDR)"}


@dataclass(frozen=True, slots=True)
class Turn:
    """How the stored picture is turned for showing: transposed first, then mirrored."""

    transpose: bool = False
    mirror_x: bool = False
    mirror_y: bool = False


# One pass over the picture: 0.6 ms at 1920x1080, where transposing and mirroring take 8 ms.
_QUARTERS = {
    Turn(transpose=True, mirror_x=True): cv2.ROTATE_90_CLOCKWISE,
    Turn(transpose=True, mirror_y=True): cv2.ROTATE_90_COUNTERCLOCKWISE,
}


def turn_of(frame: VideoFrame) -> Turn:
    """Return the quarter turn and mirroring that the frame's display matrix asks for.

    Raises
    ------
    UnreadableTake
        The matrix turns by an angle that is no quarter turn.

    References
    ----------
    ISO/IEC 14496-12, the track header's matrix: a point (x, y) is shown at
    (a x + c y, b x + d y).
    """
    matrix = frame.side_data.get("DISPLAYMATRIX")
    if not isinstance(matrix, SideData):
        return Turn()
    a, b, _, c, d, *_ = struct.unpack("=9i", bytes(matrix))
    if b == c == 0 and a and d:
        return Turn(mirror_x=a < 0, mirror_y=d < 0)
    if a == d == 0 and b and c:
        return Turn(transpose=True, mirror_x=c < 0, mirror_y=b < 0)
    raise UnreadableTake(
        f"the picture is to be shown turned by {frame.rotation} degrees; "
        "only quarter turns can be read, so export it upright"
    )


def picture_format(frame: VideoFrame, turn: Turn) -> tuple[PictureFormat, tuple[str, ...]]:
    """Return the format of the luma planes taken from frames like this one, and notes on it."""
    stored = frame.format
    notes: list[str] = []
    transfer = TransferCurve.BT709
    if frame.color_trc == _SRGB or (stored.is_rgb and frame.color_trc == 2):
        transfer = TransferCurve.SRGB
    elif frame.color_trc == _LINEAR:
        transfer = TransferCurve.LINEAR
    elif frame.color_trc not in _SAME_AS_BT709:
        name = _CURVE_NAMES.get(frame.color_trc, f"number {frame.color_trc}")
        notes.append(f"the transfer curve {name} is read as BT.709; film without HDR")
    if frame.interlaced_frame:
        notes.append("the film is interlaced: each frame holds two instants; film progressive")
    width, height = frame.width, frame.height
    if turn.transpose:
        width, height = height, width
    return (
        PictureFormat(
            width_px=width,
            height_px=height,
            bit_depth=_bit_depth(stored),
            full_range=full_range(frame),
            transfer=transfer,
            shutter=_shutter_of(turn),
        ),
        tuple(notes),
    )


def _shutter_of(turn: Turn) -> Shutter:
    """Return which way rows stored from top to bottom run in the picture as shown."""
    if turn.transpose:
        return Shutter.LEFT if turn.mirror_x else Shutter.RIGHT
    return Shutter.UP if turn.mirror_y else Shutter.DOWN


def luma_plane(frame: VideoFrame, turn: Turn) -> Luma:
    """Return the luma plane as shown, shape (height, width).

    It is a view into the frame where the picture is not turned: valid while
    the frame lives, and to be treated as read-only.
    """
    target = _luma_first(frame.format)
    if target is not None:
        full = "JPEG" if full_range(frame) else "MPEG"
        frame = frame.reformat(format=target, src_color_range=full, dst_color_range=full)
    plane = frame.planes[0]
    deep = _bit_depth(frame.format) > 8
    dtype = np.dtype("<u2") if deep else np.dtype(np.uint8)
    rows = np.frombuffer(memoryview(plane), dtype).reshape(-1, plane.line_size // dtype.itemsize)
    stored: npt.NDArray[Any] = rows[: frame.height, : frame.width]
    shown: Luma = turned(stored, turn)
    return shown


def turned(luma: npt.NDArray[Any], turn: Turn) -> Any:
    """Return a plane as it is shown; where it is turned, its rows lie one after another."""
    if turn == Turn():
        return luma
    if turn in _QUARTERS:
        return cv2.rotate(luma, _QUARTERS[turn])
    if turn.transpose:
        luma = cv2.transpose(luma)
    if turn.mirror_x or turn.mirror_y:
        luma = cv2.flip(luma, -1 if turn.mirror_x and turn.mirror_y else int(turn.mirror_x))
    return luma


def _luma_first(stored: VideoFormat) -> str | None:
    """Return what to convert to where plane 0 is not luma alone in the low bits, else None."""
    depth = _bit_depth(stored)
    suffix = "" if depth == 8 else f"{depth}le"
    if stored.is_rgb or stored.has_palette:
        return "gray" if depth == 8 else "gray16le"
    packed = sum(part.plane == 0 for part in stored.components) > 1
    high_bits = stored.name.startswith(("p01", "p21", "p41"))  # p010 keeps 10 bits in the top
    if packed or high_bits or (stored.is_big_endian and depth > 8):
        return f"gray{suffix}" if len(stored.components) == 1 else f"yuv444p{suffix}"
    return None


def _bit_depth(stored: VideoFormat) -> int:
    """Return the bits of one luma sample in the plane handed out."""
    bits = stored.components[0].bits
    if stored.has_palette or bits <= 8:
        return 8
    return 16 if stored.is_rgb else int(bits)


def full_range(frame: VideoFrame) -> bool:
    """Say whether codes run over the whole scale; grey and RGB do by custom unless flagged."""
    stored = frame.format
    if stored.is_rgb or stored.has_palette:
        return True
    if frame.color_range:
        return frame.color_range == _FULL
    return stored.name.startswith(("yuvj", "gray"))
