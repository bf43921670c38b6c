"""The quantiser that the headers of a film's pictures name, where its decoder tells none.

FFmpeg reads the headers of HEVC, VP9 and AV1 field by field when asked to trace them into its
log; what it reads is taken from there.

References
----------
ITU-T H.265, 7.4.3.3 and 7.4.7.1: the parameter of a slice is 26, what its parameter set adds,
and what its own header adds, for deeper samples too; steps as in H.264.
VP9 and AV1 bitstream specifications, quantiser lookup: for 8 bits base_q_idx 1 to 95 stands for
a step of 8 to 102 and 255 for one of 1828, near to evenly in its logarithm between; eight make
one code. (Clauses and figures from memory.)
"""

import re
from collections.abc import Iterable
from contextlib import suppress
from threading import Lock

import av.logging
from av.bitstream import BitStreamFilterContext
from av.error import FFmpegError
from av.packet import Packet
from av.video.stream import VideoStream

from blinkspan.footage.coarseness import QuantiserStep, step_of_parameter

WITH_HEADERS = ("hevc", "vp9", "av1")
_FIELD = re.compile(r"^\s*\d+ +(\w+) .*= (-?\d+)\s*$", re.MULTILINE)
_BASE = 26  # of the parameters of HEVC
# Where blocks may have parameters of their own, an encoder that spares what stays in the picture
# takes so much less for most of them than its headers say (staged takes: as much is left out as
# by H.264 at a mean of 7 less).
_SPARED = 6
_FINE_INDEX, _FINE_STEP, _LAST_INDEX, _LAST_STEP = 95, 102.0, 255, 1828.0
_STEPS_A_CODE = 8

_log = Lock()  # the level of FFmpeg's log is the whole process's


def steps_of_headers(
    stream: VideoStream, packets: "Iterable[Packet[VideoStream]]"
) -> list[QuantiserStep]:
    """Return what packets of such a codec name, in the order of decoding."""
    sets: dict[int, int] = {}
    in_use = 0
    steps: list[QuantiserStep] = []
    for alone, fields in _traced(stream, packets):
        for name, value in fields:
            match name:
                case "pps_pic_parameter_set_id" | "slice_pic_parameter_set_id":
                    in_use = value
                case "init_qp_minus26":
                    sets[in_use] = value
                case "cu_qp_delta_enabled_flag":
                    sets[in_use] = sets.get(in_use, 0) - _SPARED * value
                case "slice_qp_delta":
                    parameter = _BASE + sets.get(in_use, 0) + value
                    steps.append(QuantiserStep(step_of_parameter(parameter), alone))
                case "base_q_idx":
                    steps.append(QuantiserStep(step_of_index(value), alone))
    return steps


def step_of_index(index: int) -> float:
    """Return the step in codes of 8 bits of an index of VP9 or AV1, 0 to 255."""
    if index <= _FINE_INDEX:
        return (index + 7) / _STEPS_A_CODE
    share = (index - _FINE_INDEX) / (_LAST_INDEX - _FINE_INDEX)
    return float(_FINE_STEP * (_LAST_STEP / _FINE_STEP) ** share / _STEPS_A_CODE)


def _traced(
    stream: VideoStream, packets: "Iterable[Packet[VideoStream]]"
) -> list[tuple[bool, list[tuple[str, int]]]]:
    """Return of each packet whether it stands alone and its headers' fields, in order."""
    traced = []
    with _log, av.logging.Capture(local=True) as lines:
        before = av.logging.get_level()
        av.logging.set_level(av.logging.INFO)
        try:
            with suppress(FFmpegError):  # who reads the whole of a damaged film refuses it
                reader = BitStreamFilterContext("trace_headers", stream)
                for packet in packets:
                    alone = packet.is_keyframe
                    reader.filter(packet)
                    text = "".join(message for _, _, message in lines)
                    lines.clear()
                    fields = [(field[1], int(field[2])) for field in _FIELD.finditer(text)]
                    traced.append((alone, fields))
        finally:
            av.logging.set_level(before)
    return traced
