"""The camera: when its frames start, how it sways, and how light becomes code values."""

import math
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from blinkspan.footage.frames import TransferCurve
from blinkspan.stage.equipment import Camera, Film
from blinkspan.stage.lens import Light

Luma = npt.NDArray[np.uint8]

_BANK = 1 << 22  # samples of noise to draw from
_STEPS = 65535  # light is coded through a table this fine
_STAMP_HZ = 90_000  # variable time stamps are written on this grid, as is usual in film files
# A hand sways slowly and trembles faster; common practice, not from one source.
_SWAY_HZ = (0.4, 1.1, 2.3, 4.7, 8.5)
_SWAY_SHARE = (1.0, 0.6, 0.35, 0.15, 0.08)


@dataclass(frozen=True, slots=True)
class Shots:
    """The frames that reach the film.

    Attributes
    ----------
    start_s : ndarray
        True start of each frame's exposure at row 0; the first is 0.
    stamps : tuple of Fraction
        What the film says of them, in seconds.
    even : bool
        Whether the stamps are simply the frame's number over the stated rate.
    dropped : int
        How many frames are missing between the first and the last.
    """

    start_s: npt.NDArray[np.float64]
    stamps: tuple[Fraction, ...]
    even: bool
    dropped: int


@dataclass(frozen=True, slots=True)
class Sway:
    """A smooth path of the picture: sums of slow sines, in pixels across and down."""

    amplitude_px: npt.NDArray[np.float64]
    phase: npt.NDArray[np.float64]

    def at(self, moment_s: float) -> tuple[float, float]:
        """Return the picture's displacement at a moment."""
        turns = 2 * math.pi * np.array(_SWAY_HZ) * moment_s
        dx, dy = np.sum(self.amplitude_px * np.sin(turns + self.phase), axis=1)
        return float(dx), float(dy)


def plan_shots(camera: Camera, film: Film, duration_s: float, rng: np.random.Generator) -> Shots:
    """Return the frames of a film of that length, dropped and wandering as the camera has it."""
    count = max(2, math.floor(duration_s * camera.true_rate_hz))
    index = np.arange(count)
    even_s = index / camera.true_rate_hz
    wander = camera.rate_wander * rng.standard_normal(count) if camera.rate_wander > 0 else 0.0
    start = even_s + np.clip(wander, -0.4, 0.4) / camera.true_rate_hz
    start -= start[0]
    kept = rng.random(count) >= camera.dropped_frames
    kept[0] = True
    numbers = index[kept]
    stated = film.stamped_hz or camera.rate_hz
    slow = stated / camera.rate_hz
    if camera.rate_wander > 0:
        told = start[kept] * camera.true_rate_hz / float(camera.rate_hz)
        stamps = tuple(Fraction(round(t * _STAMP_HZ), _STAMP_HZ) / slow for t in told)
    else:
        stamps = tuple(Fraction(int(number)) / stated for number in numbers)
    even = camera.rate_wander == 0 and bool(kept.all())
    return Shots(start[kept], stamps, even, int(numbers[-1] + 1 - numbers.size))


def plan_sway(camera: Camera, rng: np.random.Generator) -> Sway | None:
    """Return the hand's sway, or None for a camera on a stand."""
    if camera.shake_px == 0.0:
        return None
    share = np.array(_SWAY_SHARE)
    amplitude = share * camera.shake_px * camera.height_px / 360 / np.sqrt(np.sum(share**2) / 2)
    return Sway(np.stack((amplitude, amplitude)), rng.uniform(0, 2 * math.pi, (2, share.size)))


def noise_bank(camera: Camera, rng: np.random.Generator) -> Light:
    """Return a long store of normal noise, from which each frame takes a stretch at random.

    Drawing fresh noise for every pixel would cost more than all else together.
    """
    size = max(_BANK, 3 * camera.width_px * camera.height_px)
    return rng.standard_normal(size, np.float32)


def exposed(light: Light, camera: Camera, bank: Light, rng: np.random.Generator) -> Light:
    """Return the light with shot and read noise added, in place."""
    start = int(rng.integers(bank.size - light.size))
    noise = bank[start : start + light.size].reshape(light.shape)
    spread = np.maximum(light, 0.0)
    spread *= np.float32(1.0 / camera.full_well_e)
    spread += np.float32(camera.read_noise**2)
    np.sqrt(spread, out=spread)
    spread *= noise
    light += spread
    return light


def code_table(curve: TransferCurve) -> Luma:
    """Return limited-range luma codes for 65536 even steps of light from 0 to 1.

    References
    ----------
    ITU-R BT.709-6, 1.2 (camera curve) and 3 (luma 16 to 235); IEC 61966-2-1:1999
    for the sRGB curve. Constants from memory, agreed with recomputed values.
    """
    light = np.linspace(0.0, 1.0, _STEPS + 1)
    if curve is TransferCurve.BT709:
        coded = np.where(light < 0.018, 4.5 * light, 1.099 * light**0.45 - 0.099)
    elif curve is TransferCurve.SRGB:
        coded = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    else:
        coded = light
    return np.rint(16.0 + 219.0 * coded).astype(np.uint8)


def coded(light: Light, table: Luma) -> Luma:
    """Return luma codes of linear light; all above white is clipped."""
    index = np.clip(light, 0.0, 1.0)
    index *= _STEPS
    index += 0.5
    return table[index.astype(np.uint16)]
