"""The steps of a film's quantiser, from a few pictures amid it.

Encoders that hold to a rate of bits seek their steps in the first seconds, so that the first
pictures say little of the rest.
"""

from itertools import islice

from blinkspan.footage.coarseness import TELLS_QUANTISER, QuantiserStep, steps_of_pictures
from blinkspan.footage.file import decoded, open_container
from blinkspan.footage.headers import WITH_HEADERS, steps_of_headers
from blinkspan.footage.reel import Reel

_PICTURES = 8  # one that stands alone, and some that build on others


def steps_amid(reel: Reel) -> list[QuantiserStep]:
    """Return what the pictures from the last key before the middle on name, none where untold.

    Raises
    ------
    UnreadableTake
        The file is gone or can no longer be read.
    """
    key = reel.index.key_at_or_before(reel.frames // 2)
    with open_container(reel.path) as container:
        stream = reel.prepared(container)
        stream.thread_count = 1
        stream.codec_context.options = TELLS_QUANTISER
        packets = reel.packets_from(key, container, stream) or container.demux(stream)
        if stream.codec_context.codec.canonical_name in WITH_HEADERS:
            return steps_of_headers(stream, islice(packets, _PICTURES))
        return steps_of_pictures(islice(decoded(packets), _PICTURES), reel.picture.bit_depth)
