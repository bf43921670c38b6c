"""How coarsely a film is encoded, from the quantiser that its pictures name.

What an encoder leaves out of a picture is in proportion to the steps of its quantiser. Decoders
of H.264, MPEG-4 and MPEG-2 tell them for each block; of HEVC, VP9 and AV1 the headers of each
picture tell them, see :mod:`blinkspan.footage.headers`; codecs without prediction do not.

References
----------
ITU-T H.264, 8.5 (scaling and transformation): the step is 5/8 at a parameter of 0 and doubles
with every six, which for deeper samples are counted from six lower a bit.
ISO/IEC 13818-2, 7.4.2 (inverse quantisation): the step is quantiser_scale where the matrix is
flat. (Clauses and figures from memory.)
"""

import struct
from collections.abc import Iterable
from typing import NamedTuple

import numpy as np
from av.sidedata.sidedata import SideData
from av.video.frame import PictureType, VideoFrame

# To be given to a decoder, so that its pictures name their quantiser.
TELLS_QUANTISER = {"export_side_data": "venc_params"}
_COARSEST = 8.0  # times good film's; beyond that a film shows blocks, not pictures
_FINEST = 0.01  # finer than any that codecs have

# FFmpeg's AVVideoEncParams: count, place and size of the blocks, kind of parameter, parameter;
# a block has four numbers for its place and one for how its own parameter differs.
_HEAD, _H264, _MPEG, _DIFFERS = struct.Struct("@INNii"), 1, 2, 4


class QuantiserStep(NamedTuple):
    """What one picture names: its step in codes of 8 bits, and whether it stands alone."""

    codes: float
    stands_alone: bool


def step_of_parameter(parameter: float) -> float:
    """Return the step in codes of 8 bits of a parameter of H.264 or HEVC for 8 bits."""
    return float(0.625 * 2 ** (parameter / 6))


_GOOD = step_of_parameter(25.0)  # of the films that what is said of encoders was learnt on


def coarseness_of(steps: Iterable[QuantiserStep]) -> float:
    """Return how many times as coarse as good film's the encoder's steps are, 1 where untold.

    Pictures that build on others count, where there are any: most of a film is of those.
    """
    told = list(steps)
    built = [step.codes for step in told if not step.stands_alone]
    codes = built or [step.codes for step in told]
    if not codes:
        return 1.0
    # Their mean is that of the parameters, to which encoders hold, not of the steps.
    times = np.clip(np.array(codes) / _GOOD, _FINEST, None)
    return float(np.clip(np.exp(np.log(times).mean()), 1.0, _COARSEST))


def steps_of_pictures(frames: Iterable[VideoFrame], bit_depth: int) -> list[QuantiserStep]:
    """Return what decoded pictures name, of those that name anything."""
    told = [(_step_codes(frame, bit_depth), frame.pict_type) for frame in frames]
    return [
        QuantiserStep(codes, kind == PictureType.I) for codes, kind in told if codes is not None
    ]


def _step_codes(frame: VideoFrame, bit_depth: int) -> float | None:
    """Return the mean step of a picture's blocks in codes of 8 bits, None where it is untold."""
    told = frame.side_data.get("VIDEO_ENC_PARAMS")
    if not isinstance(told, SideData):
        return None
    words = bytes(told)
    blocks, first, size, kind, parameter = _HEAD.unpack_from(words)
    if kind not in (_H264, _MPEG):
        return None
    mean = float(parameter)
    if blocks:
        each = np.frombuffer(words, np.int32, blocks * size // 4, first).reshape(blocks, -1)
        mean += float(each[:, _DIFFERS].mean())
    return mean if kind == _MPEG else step_of_parameter(mean - 6 * (bit_depth - 8))
