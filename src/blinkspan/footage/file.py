"""The file of a take as FFmpeg sees it: opened, never written, its faults in one line."""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

import av
from av.container import InputContainer
from av.error import FFmpegError
from av.packet import Packet
from av.stream import Disposition
from av.video.frame import VideoFrame
from av.video.stream import VideoStream

from blinkspan.errors import UnreadableTake

# FFmpeg would also draw a text file as film, or fetch from the net what a playlist names.
_ONLY_RECORDINGS = {
    "protocol_whitelist": "file",
    "format_whitelist": (
        "mov,mp4,m4a,3gp,3g2,mj2,matroska,webm,avi,mpegts,mpeg,mxf,asf,flv,nut,ogg,gif,"
        "yuv4mpegpipe,h264,hevc,mjpeg,ivf,dv,wav,w64,mp3,aac,flac,caf,aiff"
    ),
}


def open_container(path: Path) -> InputContainer:
    """Return the opened file.

    Raises
    ------
    UnreadableTake
        It is missing, no plain file, may not be read, is empty or holds no recording.
    """
    if path.is_dir():
        raise UnreadableTake(f"{path}: this is a folder; give a film in it")
    if not path.exists():
        raise UnreadableTake(f"{path}: there is no such file; check its name and folder")
    if not path.is_file():
        raise UnreadableTake(f"{path}: this is not a plain file; give a film")
    try:
        if path.stat().st_size == 0:
            raise UnreadableTake(f"{path}: the file is empty; copy it again from the camera's card")
        # An absolute path cannot be taken for the name of a protocol.
        return av.open(str(path.resolve()), container_options=_ONLY_RECORDINGS)
    except PermissionError as refusal:
        raise UnreadableTake(
            f"{path}: the file may not be read; ask its owner or change its permissions"
        ) from refusal
    except (FFmpegError, OSError) as refusal:
        if isinstance(refusal, UnreadableTake):
            raise
        raise UnreadableTake(
            f"{path}: this is not a film that can be read, or its end is missing; "
            "copy it again from the camera's card"
        ) from refusal


def video_stream(container: InputContainer, path: Path) -> VideoStream:
    """Return the film in the file: the first video stream that is no cover picture.

    Raises
    ------
    UnreadableTake
        There is none.
    """
    for stream in container.streams.video:
        if not stream.disposition & Disposition.attached_pic and stream.codec_context is not None:
            return stream
    if container.streams.audio:
        raise UnreadableTake(f"{path}: the file holds sound but no film; give the film")
    raise UnreadableTake(
        f"{path}: the file holds no film, or its end is missing; "
        "copy it again from the camera's card"
    )


def decoded(packets: "Iterable[Packet[VideoStream]]") -> Iterator[VideoFrame]:
    """Yield the frames of packets, passing over packets that cannot be decoded."""
    packets = iter(packets)
    while True:
        try:
            packet = next(packets, None)
            frames = [] if packet is None else packet.decode()
        except FFmpegError:
            continue  # the reader compares what came with what was promised
        if packet is None:
            return
        yield from frames


@contextmanager
def naming(path: Path) -> Iterator[None]:
    """Put the file's name before any refusal raised inside."""
    try:
        yield
    except UnreadableTake as refusal:
        raise UnreadableTake(f"{path}: {refusal}") from refusal
