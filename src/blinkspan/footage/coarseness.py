"""How coarsely a film is encoded, from the quantiser that its pictures name.

What an encoder leaves out of a picture is in proportion to the steps of its quantiser. A
decoder of H.264 tells them; those of HEVC and of codecs without prediction do not.

References
----------
ITU-T H.264, 8.5 (scaling and transformation): the step doubles with every six of the
quantisation parameter, which for deeper samples is counted from six lower a bit.
"""

import struct
from collections.abc import Iterable

import numpy as np
from av.sidedata.sidedata import SideData
from av.video.frame import PictureType, VideoFrame

# To be given to a decoder, so that its pictures name their quantiser.
TELLS_QUANTISER = {"export_side_data": "venc_params"}
# The parameter of the films that what is said of encoders was learnt on.
_GOOD = 25.0
_COARSEST = 8.0  # beyond that a film shows blocks, not pictures

# FFmpeg's AVVideoEncParams: count, place and size of the blocks, kind of parameter, parameter;
# a block has four numbers for its place and one for how its own parameter differs.
_HEAD, _H264, _DIFFERS = struct.Struct("@INNii"), 1, 4


def coarseness_of(frames: Iterable[VideoFrame], bit_depth: int) -> float:
    """Return how many times as coarse as good film's the encoder's steps are, 1 where untold.

    Pictures that build on others count, where there are any: most of a film is of those.
    """
    told = [(frame.pict_type, _parameter(frame)) for frame in frames]
    known = [(kind, parameter) for kind, parameter in told if parameter is not None]
    built = [parameter for kind, parameter in known if kind != PictureType.I]
    parameters = built or [parameter for _, parameter in known]
    if not parameters:
        return 1.0
    above = float(np.mean(parameters)) - 6 * (bit_depth - 8) - _GOOD
    return float(np.clip(2 ** (above / 6), 1.0, _COARSEST))


def _parameter(frame: VideoFrame) -> float | None:
    """Return the mean quantisation parameter of a picture's blocks, None where it is untold."""
    told = frame.side_data.get("VIDEO_ENC_PARAMS")
    if not isinstance(told, SideData):
        return None
    words = bytes(told)
    blocks, first, size, kind, parameter = _HEAD.unpack_from(words)
    if kind != _H264:
        return None
    if blocks == 0:
        return float(parameter)
    each = np.frombuffer(words, np.int32, blocks * size // 4, first).reshape(blocks, -1)
    return float(parameter + each[:, _DIFFERS].mean())
