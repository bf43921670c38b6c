"""Turn code values back into the light that made them.

Fractions of an exposure add up in light, not in code values: half the light of
a lit lamp is far more than half its code. All series are therefore linear.

References
----------
ITU-R BT.709-6, 1.2: the camera curve, 4.5 L below 0.018, else 1.099 L^0.45 - 0.099.
IEC 61966-2-1:1999: the sRGB curve with its knee at 0.04045.
ITU-R BT.709-6, 4.6: video levels 16..235, times 2^(n - 8) at n bits.
"""

import numpy as np
import numpy.typing as npt

from blinkspan.footage.frames import PictureFormat, TransferCurve

FULL_SCALE = 65535  # linear light is kept as 16-bit integers: 1.0 is this


def linear_light(signal: npt.NDArray[np.float64], curve: TransferCurve) -> npt.NDArray[np.float64]:
    """Return the linear light, 0 to 1, behind a signal of 0 to 1.

    Examples
    --------
    >>> round(float(linear_light(np.array([0.409008]), TransferCurve.BT709)[0]), 4)
    0.18
    """
    v = np.clip(signal, 0.0, None)
    if curve is TransferCurve.SRGB:
        return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)
    if curve is TransferCurve.BT709:
        return np.where(v < 0.081, v / 4.5, ((v + 0.099) / 1.099) ** (1 / 0.45))
    return v


def light_of_codes(picture: PictureFormat) -> npt.NDArray[np.uint16]:
    """Return the table from each code value to linear light of 0 to ``FULL_SCALE``.

    Shape (2**bit_depth,). Light above nominal white (codes over 235 in video
    range) is kept below full scale by scaling the whole table, so that
    highlights are not clipped a second time.
    """
    codes = np.arange(2**picture.bit_depth, dtype=np.float64)
    if picture.full_range:
        signal = codes / codes[-1]
    else:
        step = 2.0 ** (picture.bit_depth - 8)
        signal = (codes - 16 * step) / (219 * step)
    light = linear_light(signal, picture.transfer)
    table: npt.NDArray[np.uint16] = np.rint(light / light[-1] * FULL_SCALE).astype(np.uint16)
    return table


def highest_code(picture: PictureFormat) -> int:
    """Return the code value from which a pixel counts as clipped.

    Full-range white or video white, whichever the format states, less two
    steps: encoding smears a flat clipped area by about that much (common practice).
    """
    step: int = 2 ** (picture.bit_depth - 8)
    return (255 if picture.full_range else 235) * step - 2 * step
