"""From what the jobs hand out to what the interface sends."""

from bisect import bisect_right
from dataclasses import dataclass

from blinkspan.jobs.take_review import Candidate, ReviewedPress, TakeReview, doubt
from blinkspan.jobs.take_summary import summary_of
from blinkspan.publish import words
from blinkspan.publish.document import summary_part
from blinkspan.quantities import Measured
from blinkspan.traces.regions import Regions
from blinkspan.web.api import values
from blinkspan.web.page_words import on_page


@dataclass(frozen=True, slots=True)
class Version:
    """What a person has seen: the run, and the last word on a press or a take.

    Examples
    --------
    >>> Version.read(str(Version(3, 17))), Version.read('"3-0"')
    (Version(run=3, last=17), Version(run=3, last=0))
    """

    run: int
    last: int

    def __str__(self) -> str:
        """Return it as it stands in a header."""
        return f'"{self.run}-{self.last}"'

    @classmethod
    def read(cls, text: str) -> "Version | None":
        """Return what a header says, or None where it is none of ours."""
        run, dash, last = text.strip().removeprefix("W/").strip('"').partition("-")
        if not (dash and run.isascii() and run.isdigit() and last.isascii() and last.isdigit()):
            return None
        return cls(int(run), int(last))


def take_state(review: TakeReview) -> values.TakeState:
    """Return a take as the interface sends it."""
    found = review.measurement
    facts = None if found is None else found.take
    return values.TakeState(
        id=review.take.id,
        name=review.take.name,
        study=review.setup.study,
        setup=review.setup.setup.name,
        setup_id=review.setup.id,
        size_bytes=review.take.size_bytes,
        measured=review.run is not None,
        frames=None if facts is None else facts.frames,
        width_px=None if facts is None else facts.width_px,
        height_px=None if facts is None else facts.height_px,
        rate_hz=None if facts is None else facts.rate_hz,
        exposure_ms=None if found is None else 1e3 * found.camera.exposure_s.value,
        readout_ms=None if found is None else 1e3 * found.camera.readout_s.value,
        regions=None if found is None else regions_state(found.regions),
        given_regions=regions_state(review.given_regions),
        notes=() if found is None else tuple(map(on_page, found.notes)),
        undo=review.undo,
        redo=review.redo,
        version=str(_version(review, review.seen)),
    )


def presses_state(review: TakeReview) -> values.PressesOfTake:
    """Return the presses of a take as the interface sends them."""
    found = review.measurement
    starts = None
    if found is not None:  # as lists, in which a place is found ten times as fast
        starts = found.lamp_trace.start_s.tolist(), found.response_trace.start_s.tolist()
    ordered = sorted(review.presses, key=lambda each: doubt(each.kept.press))
    return values.PressesOfTake(
        take=take_state(review),
        presses=tuple(_press(review, each, starts) for each in review.presses),
        order=tuple(each.kept.id for each in ordered),
        summary=_summary(review),
    )


def correction_states(review: TakeReview) -> tuple[values.CorrectionState, ...]:
    """Return everything said of a take, in the order it was said."""
    return tuple(
        values.CorrectionState(
            id=row.id,
            press_id=row.press_id,
            corrects=None if row.correction is None else row.correction.kind.value,
            to=None if row.correction is None else _instant(row.correction.to),
            verdict=None if row.correction is None else row.correction.verdict,
            reason=None if row.correction is None else row.correction.reason,
            why="" if row.correction is None else row.correction.why,
            by=row.by,
            made_at=row.made_at,
            undoes=row.undoes_id,
        )
        for row in review.corrections
    )


def regions_state(regions: Regions | None) -> values.RegionsState | None:
    """Return the places in the picture as the interface sends them."""
    if regions is None:
        return None
    lamp, watch = regions.lamp, regions.watch
    return values.RegionsState(
        lamp=(lamp.x, lamp.y, lamp.width, lamp.height),
        panel=None if regions.panel is None else regions.panel.corners,
        watch=(watch.x, watch.y, watch.width, watch.height),
        proposed=regions.proposed,
    )


def _version(review: TakeReview, last: int) -> Version:
    return Version(0 if review.run is None else review.run.id, last)


def _press(
    review: TakeReview, each: ReviewedPress, starts: tuple[list[float], list[float]] | None
) -> values.PressState:
    kept, press = each.kept, each.kept.press
    lamp_start_s, response_start_s = (None, None) if starts is None else starts
    lit = _frame(lamp_start_s, press.lamp_on, kept.lamp_on_frame)
    return values.PressState(
        id=kept.id,
        number=press.number,
        lamp_on=values.Instant(at_s=press.lamp_on.value, u_ms=1e3 * press.lamp_on.u),
        lamp_off_s=None if press.lamp_off is None else press.lamp_off.value,
        response=_instant(press.response),
        lamp_on_frame=0 if lit is None else lit,
        response_frame=_frame(response_start_s, press.response, kept.response_frame),
        span=_duration(press.span),
        net=_duration(press.net),
        verdict=press.verdict,
        reason=press.reason,
        budget=tuple(
            values.BudgetTerm(name=term.name, u_ms=1e3 * term.u_s, shared=term.shared)
            for term in press.budget.terms
        ),
        leading=None if press.budget.leading is None else press.budget.leading.name,
        candidates=tuple(_candidate(other, response_start_s) for other in each.candidates),
        measured_lamp_on_s=kept.measured.lamp_on.value,
        measured_response_s=None
        if kept.measured.response is None
        else kept.measured.response.value,
        measured_verdict=kept.measured.verdict,
        corrections=kept.corrections,
        version=str(Version(kept.run_id, each.seen)),
    )


def _candidate(other: Candidate, start_s: list[float] | None) -> values.OtherResponse:
    return values.OtherResponse(
        at_s=other.at.value,
        u_ms=1e3 * other.at.u,
        frame=_frame(start_s, other.at, None) or 0,
        source=other.source,
    )


def _frame(start_s: list[float] | None, at: Measured | None, as_measured: int | None) -> int | None:
    """Return the frame whose turn it was at an instant, at the row that the instant belongs to."""
    if at is None:
        return None
    if start_s is None:
        return as_measured
    return max(0, bisect_right(start_s, at.value) - 1)


def _instant(at: Measured | None) -> values.Instant | None:
    return None if at is None else values.Instant(at_s=at.value, u_ms=1e3 * at.u)


def _duration(of: Measured | None) -> values.Duration | None:
    return None if of is None else values.Duration(ms=1e3 * of.value, u_ms=1e3 * of.u)


def _summary(review: TakeReview) -> values.SummaryState:
    standing = tuple(each.kept.press for each in review.presses)
    if review.measurement is None:
        return values.SummaryState(
            n=0,
            doubtful=0,
            rejected=0,
            median_ms=None,
            interval_ms=None,
            level=None,
            low_ms=None,
            high_ms=None,
            spread_ms=None,
            net_median_ms=None,
            net_interval_ms=None,
            sentence="This take is not measured yet.",
        )
    spans, nets = summary_of(standing, review.measurement.display)
    part = summary_part(spans)
    net = None if nets is None else summary_part(nets)
    return values.SummaryState(
        n=part.n,
        doubtful=part.doubtful,
        rejected=part.rejected,
        median_ms=part.median_ms,
        interval_ms=part.median_interval_ms,
        level=part.interval_level,
        low_ms=part.low_ms,
        high_ms=part.high_ms,
        spread_ms=part.spread_ms,
        net_median_ms=None if net is None else net.median_ms,
        net_interval_ms=None if net is None else net.median_interval_ms,
        sentence=f"{words.sentence(net or part)} {words.lag_told(net=net is not None)}"
        if part.n
        else words.sentence(part),
    )
