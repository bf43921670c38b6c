"""Was a take shot where its setup's other takes were? Load at the spot changes latency.

The first frames of a take, averaged, are laid over the setup's reference still:
the panel's picture alone, made upright, where both panels are known, else the
whole picture. What the camera shifted is taken out first; brightness and
contrast are not compared.

References
----------
M. Guizar-Sicairos et al., "Efficient subpixel image registration algorithms",
Optics Letters 33 (2008) 156-158, as scikit-image's phase_cross_correlation.
Z. Wang et al., "Image quality assessment: from error visibility to structural
similarity", IEEE Trans. Image Processing 13 (2004) 600-612.
"""

from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

from blinkspan.footage.video import open_take
from blinkspan.library import Library
from blinkspan.library.kept import KeptTake, Still
from blinkspan.traces.regions import Quadrilateral

Picture = npt.NDArray[np.float32]

_FRAMES = 24  # a tenth of a second at 240 fps: noise and flicker average out, a game hardly moves
_WIDTH_PX = 640  # of a kept still; more tells nothing more of where it is
_PANEL_PX = (320, 180)
_SMOOTH_PX = 1.5  # below this, pictures differ by noise and compression

# Similarity of staged takes: at one spot 0.97 and above on the panel and 0.85 and above
# on the whole picture, where the room stays alike, at other spots 0.22 and 0.56 at most.
_SAME = {True: 0.6, False: 0.7}


@dataclass(frozen=True, slots=True)
class SpotCheck:
    """A take's first look held against its setup's still.

    Attributes
    ----------
    similarity : float
        Structural similarity, 1 for the same picture.
    on_panel : bool
        Whether the panels' pictures alone were compared.
    """

    similarity: float
    on_panel: bool

    @property
    def same(self) -> bool:
        """Whether the take seems to be shot at the setup's spot."""
        return self.similarity >= _SAME[self.on_panel]

    def __str__(self) -> str:
        """Return the finding in words."""
        if self.same:
            return f"shot at the setup's spot (similarity {self.similarity:.2f})"
        return (
            f"seems to be shot elsewhere in the title (similarity {self.similarity:.2f}); "
            "load at the spot changes latency, look at both before they are counted together"
        )


def check_spot(
    library: Library, take: KeptTake, panel: Quadrilateral | None = None
) -> SpotCheck | None:
    """Return how a take compares with its setup's still.

    None for the setup's oldest take, whose first look becomes the still, and
    where scikit-image, which compares, is not installed.

    Parameters
    ----------
    panel : Quadrilateral | None
        The panel's corners in the take, where known.

    Raises
    ------
    UnreadableTake
        The take cannot be read.
    """
    if find_spec("skimage") is None:
        return None
    setup = library.setup_of(take)
    still = library.still(setup)
    if still is None or take.id == library.takes(setup=setup)[0].id:
        if still is None or (still.panel is None and panel is not None):
            look, panel = first_look(library.clip(take), panel)
            _, packed = cv2.imencode(".png", look.astype(np.uint8))
            library.keep_still(setup, Still(packed.tobytes(), panel))
        return None
    look, panel = first_look(library.clip(take), panel)
    kept = _floats(cv2.imdecode(np.frombuffer(still.png, np.uint8), cv2.IMREAD_GRAYSCALE))
    if panel is not None and still.panel is not None:
        return SpotCheck(likeness(upright(kept, still.panel), upright(look, panel)), True)
    height, width = kept.shape
    small = cv2.resize(look, (width, height), interpolation=cv2.INTER_AREA)
    return SpotCheck(likeness(kept, _floats(small)), False)


def first_look(
    clip: Path, panel: Quadrilateral | None = None
) -> tuple[Picture, Quadrilateral | None]:
    """Return the mean of a take's first frames, 0 to 255 and small, and the panel in it."""
    with open_take(clip) as take:
        total: Picture = np.zeros((take.format.height_px, take.format.width_px), np.float32)
        count = min(_FRAMES, take.frames)
        for luma in take.stream(0, count):
            total += luma
        share = min(1.0, _WIDTH_PX / take.format.width_px)
        size = (round(take.format.width_px * share), round(take.format.height_px * share))
        total /= count * 2 ** (take.format.bit_depth - 8)
    look = _floats(cv2.resize(total, size, interpolation=cv2.INTER_AREA))
    if panel is None:
        return look, None
    a, b, c, d = ((share * x, share * y) for x, y in panel.corners)
    return look, Quadrilateral((a, b, c, d))


def upright(picture: Picture, panel: Quadrilateral) -> Picture:
    """Return the panel's picture as if seen from straight ahead."""
    width, height = _PANEL_PX
    corners = np.array(panel.corners, np.float32)
    square = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float32)
    turn = cv2.getPerspectiveTransform(corners, square)
    return _floats(cv2.warpPerspective(picture, turn, _PANEL_PX, flags=cv2.INTER_AREA))


def likeness(one: Picture, other: Picture) -> float:
    """Return the structural similarity of two pictures of one size, shift taken out.

    0 where they would have to be shifted so far that too little is left to compare.
    """
    from skimage.metrics import structural_similarity
    from skimage.registration import phase_cross_correlation

    one, other = _plain(one), _plain(other)
    (down, right), *_ = phase_cross_correlation(one, other, upsample_factor=10, normalization=None)
    height, width = one.shape
    move = np.array([[1, 0, right], [0, 1, down]], np.float32)
    moved = cv2.warpAffine(other, move, (width, height), borderMode=cv2.BORDER_REPLICATE)
    rim = int(np.ceil(max(abs(down), abs(right)))) + 2
    if rim > min(height, width) // 4:
        return 0.0
    inner = (slice(rim, -rim), slice(rim, -rim))
    # both have deviation 1; four deviations hold nearly all of a picture
    return float(structural_similarity(one[inner], moved[inner], data_range=4.0))


def _plain(picture: Picture) -> Picture:
    """Return the picture without noise, brightness and contrast."""
    smooth = cv2.GaussianBlur(picture, (0, 0), _SMOOTH_PX)
    level: Picture = (smooth - smooth.mean()) / max(float(smooth.std()), 1e-6)
    return level


def _floats(picture: object) -> Picture:
    return np.asarray(picture, dtype=np.float32)
