"""Propose a take's regions from the take itself, for a person to check.

The lamp is the small spot with two levels, the panel the large bright
quadrilateral, the watched region the part of it that changes after the lamp
lights. One pass over the take tells all three, and a look at the first presses
the lamp's size.
"""

from collections.abc import Iterator

import numpy as np

from blinkspan.errors import NothingToMeasure
from blinkspan.footage.frames import Frames
from blinkspan.traces.following import following
from blinkspan.traces.lamp import two_levels
from blinkspan.traces.lamp_box import lamp_box
from blinkspan.traces.lamp_choice import Spot, likely_lamps
from blinkspan.traces.lamp_pulses import lamp_pulses
from blinkspan.traces.panel_corners import refined_panel
from blinkspan.traces.panel_search import panel_outline
from blinkspan.traces.regions import Quadrilateral, Rectangle, Regions
from blinkspan.traces.survey import Survey, survey_take
from blinkspan.traces.trace import Samples
from blinkspan.traces.watch_place import watched_part

_PANEL_FRAMES = 480  # enough where only the panel is asked for: two seconds at 240 fps


def propose_regions(
    frames: Frames,
    lamp: Rectangle | None,
    panel: Quadrilateral | None,
    watch: Rectangle | None,
) -> Iterator[int | Regions]:
    """Yield the count of frames done, now and then, and the ``Regions`` last.

    Parameters
    ----------
    frames : Frames
        Iterated once, and again up to the first presses where the lamp is not
        given. Only the first two seconds are read where just the panel is
        missing, nothing where nothing is.
    lamp, panel, watch : Rectangle, Quadrilateral, Rectangle or None
        What is given is kept as it is. A panel that cannot be told for sure
        stays None and is not named as proposed.

    Raises
    ------
    BadRegion
        A region given leaves the picture.
    NothingToMeasure
        No lamp is given and none is found.

    Notes
    -----
    Memory stays below about 200 MB whatever the take's length: 128 MB for the
    small film and three pictures of at most 1920 x 1080.
    """
    picture = frames.format
    for region, name in ((lamp, "lamp"), (watch, "watched")):
        if region is not None:
            region.within(picture.width_px, picture.height_px, name)
    if lamp is not None and watch is not None and panel is not None:
        yield Regions(lamp, panel, watch)
        return
    for step in survey_take(frames, lamp, None if lamp is None or watch is None else _PANEL_FRAMES):
        if isinstance(step, int):
            yield step
        else:
            survey = step
    proposed = tuple(
        name
        for name, given in (("lamp", lamp), ("panel", panel), ("watch", watch))
        if given is None
    )
    if panel is None:
        panel = find_panel(survey)
    if lamp is None:
        spot = find_lamp(survey, panel)
        for look in lamp_box(frames, survey, spot):
            if isinstance(look, int):
                yield look
            else:
                lamp = look
        onsets = spot.onsets
    elif survey.lamp_codes is not None:
        onsets = _onsets(survey.lamp_codes)
    assert lamp is not None, "a search for the lamp ends in a box or a refusal"
    if watch is None:
        watch = watched_part(survey, following(survey, onsets, lamp, panel), lamp, panel)
    yield Regions(
        lamp, panel, watch, tuple(n for n in proposed if n != "panel" or panel is not None)
    )


def find_panel(survey: Survey) -> Quadrilateral | None:
    """Return the panel, or None where no four edges are surely it."""
    outline = panel_outline(survey)
    return None if outline is None else refined_panel(survey, outline.corners, outline.error_px)


def find_lamp(survey: Survey, panel: Quadrilateral | None) -> Spot:
    """Return the spot that is the lamp: of several that blink alike, the one the screen follows.

    Raises
    ------
    NothingToMeasure
        Nothing in the take blinks as a lamp does.
    """
    spots = likely_lamps(survey, lamp_pulses(survey), panel)
    if not spots:
        raise NothingToMeasure(
            "no lamp found: no small spot in the take lights up and goes dark at least twice; "
            "give --lamp X,Y,W,H"
        )
    if len(spots) == 1:
        return spots[0]

    def followed(spot: Spot) -> float:
        box = survey.pixel_box(spot.pulses[0].row, spot.pulses[0].column)
        return following(survey, spot.onsets, box, panel).strength()

    return max(spots, key=followed)


def _onsets(codes: Samples) -> list[int]:
    """Return the frames in which a given lamp's box turns from nearer dark to nearer lit."""
    if codes.size < 2:
        return []
    lit = codes > sum(two_levels(codes)) / 2
    return [int(frame) for frame in np.flatnonzero(lit[1:] & ~lit[:-1]) + 1]
