"""What a page says of a take's film, also where the film itself is gone."""

from dataclasses import dataclass

from blinkspan.errors import UnreadableTake
from blinkspan.jobs.take_review import TakeReview
from blinkspan.web.desk import Desk


@dataclass(frozen=True, slots=True)
class Film:
    """The size of the picture, how many frames there are, and how often one was taken."""

    width_px: int
    height_px: int
    frames: int
    rate_hz: float
    source: str


def film_of(desk: Desk, review: TakeReview) -> Film:
    """Return a take's film as it was measured, or as its file says where it was not measured yet.

    Raises
    ------
    NotInLibrary, UnreadableTake
        It was not measured, and the file cannot be had.
    """
    if review.measurement is not None:
        facts = review.measurement.take
        return Film(facts.width_px, facts.height_px, facts.frames, facts.rate_hz, facts.rate_source)
    take = desk.frames.take(review.take.id)
    shape, clock = take.format, take.clock
    return Film(shape.width_px, shape.height_px, take.frames, float(clock.rate_hz), clock.source)


def film_lost(desk: Desk, review: TakeReview) -> str | None:
    """Return in words why a take's film cannot be shown, or None where it can."""
    lost = desk.reviews.film_lost(review.take)
    if lost is None and review.measurement is None:
        try:
            desk.frames.take(review.take.id)
        except UnreadableTake as unreadable:
            return str(unreadable)
    return lost
