"""Studies and their setups at a glance."""

from fastapi import APIRouter

from blinkspan.jobs.review import StudyGlance, listed_takes, new_study, overview
from blinkspan.web.api import values
from blinkspan.web.desk import TheDesk

router = APIRouter(prefix="/api/studies", tags=["studies"])


@router.get("")
def studies(desk: TheDesk) -> tuple[values.StudyGlance, ...]:
    """Return every study with its setups at a glance, by name."""
    return tuple(_glance(each) for each in overview(desk.library))


@router.post("", status_code=201)
def add_study(desk: TheDesk, given: values.StudyGiven) -> dict[str, str]:
    """Keep a new study, a question that takes are to answer."""
    new_study(desk.library, given.name, given.question)
    return {"name": given.name}


@router.get("/{study}/takes")
def takes(desk: TheDesk, study: str) -> tuple[values.ListedTake, ...]:
    """Return the takes of a study, by setup and in the order they came."""
    return tuple(
        values.ListedTake(
            id=each.take.id,
            name=each.take.name,
            setup=each.setup,
            measured=each.presses is not None,
            presses=each.presses,
            doubtful=each.doubtful,
        )
        for each in listed_takes(desk.library, study)
    )


def _glance(of: StudyGlance) -> values.StudyGlance:
    return values.StudyGlance(
        name=of.study.study.name,
        question=of.study.study.question,
        setups=tuple(
            values.SetupGlance(
                id=each.setup.id,
                name=each.setup.setup.name,
                takes=each.takes,
                measured=each.measured,
                n=each.n,
                doubtful=each.doubtful,
                rejected=each.rejected,
                median_ms=each.median_ms,
                low_ms=each.low_ms,
                high_ms=each.high_ms,
                median_net_ms=each.median_net_ms,
            )
            for each in of.setups
        ),
    )
