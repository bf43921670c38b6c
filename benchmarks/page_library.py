"""The library that the page is timed on: two takes of a minute at full HD, one of 500 presses."""

from pathlib import Path

from invented_takes import measured_take

from blinkspan.jobs.add import add
from blinkspan.jobs.batch import Failed, measure_study
from blinkspan.jobs.library import init
from blinkspan.library import Library
from blinkspan.library.runs import Inputs
from blinkspan.study.setup import Conditions, Setup
from blinkspan.traces.regions import Quadrilateral, Rectangle, Regions
from speed_takes import make_take, regions

STUDY = "page"
FILMED, INVENTED, RARE = 1, 2, 3  # keys of the takes; the last has a key frame every second
_PRESSES = 500


def prepared(folder: Path, takes: Path, seconds: float) -> Path:
    """Return the library; one that an earlier call made there is used again."""
    library = folder / "library"
    if (library / "library.toml").is_file():
        return library
    init(library)
    film = make_take(takes, "h264", seconds, keys=True)
    list(add(library, [film], STUDY, Setup("filmed", Conditions(title="Lantern Row"))))
    found = regions(takes)
    corners = found["panel"]
    given = Regions(
        Rectangle(*found["lamp"]),
        Quadrilateral(tuple(zip(corners[::2], corners[1::2], strict=True))),
        Rectangle(*found["flash"]),
    )
    for event in measure_study(library, STUDY, regions=given, given={"capture_rate_hz": 240.0}):
        if isinstance(event, Failed):
            raise SystemExit(event.reason)
    _invent(library, folder)
    rare = make_take(takes, "h264", seconds, keys=True, interval=240)
    list(add(library, [rare], STUDY, Setup("rare key frames", Conditions(title="Lantern Row"))))
    return library


def _invent(library: Path, folder: Path) -> None:
    """Keep a take of many presses with invented numbers: its list is timed, not its frames."""
    file = folder / "invented.mp4"
    file.write_bytes(b"invented")
    with Library.open(library) as opened:
        setup = opened.add_setup(STUDY, Setup("invented", Conditions(title="Lantern Row")))
        take = opened.add_take(file, setup).take
        opened.keep_run(
            take,
            measured_take(file, 1, _PRESSES),
            Inputs("0.1.0", {}),
        )
