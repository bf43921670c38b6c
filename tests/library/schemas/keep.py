"""Keep a small library of the newest schema, for the tests of all later ones.

Run once for each schema, by the code that first has it:
``python tests/library/schemas/keep.py``. It writes the database, packed.
"""

import gzip
import sqlite3
import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent))

from invented_takes import LAG_SETUP, LAG_STUDY, measured_take, write_clip  # noqa: E402

from blinkspan.library import Library  # noqa: E402
from blinkspan.library.runs import Inputs  # noqa: E402
from blinkspan.library.schema import NEWEST  # noqa: E402
from blinkspan.presses.correction import Corrects  # noqa: E402
from blinkspan.presses.press import Verdict  # noqa: E402
from blinkspan.profiles import CameraProfile, DisplayProfile  # noqa: E402
from blinkspan.quantities import Measured  # noqa: E402
from blinkspan.traces.regions import Rectangle, Regions  # noqa: E402


def fill(library: Library, folder: Path) -> None:
    """Use every verb once."""
    library.keep_display("panel one", DisplayProfile(Measured(0.012, 0.0007), 60.0, None), "new")
    library.keep_camera("camera one", CameraProfile(None, Measured(0.003, 0.0005)))
    library.add_study(LAG_STUDY)
    setup = library.add_setup(LAG_STUDY.name, LAG_SETUP)
    for seed in (1, 2):
        clip = write_clip(folder / f"take {seed}.mp4", seed)
        take = library.add_take(clip, setup).take
        inputs = Inputs("0.1.0", {"capture_rate_hz": 240}, None, "panel one")
        library.keep_run(take, measured_take(clip, seed), inputs)
        given = Regions(Rectangle(1, 2, 3, 4), None, Rectangle(5, 6, 7, 8))
        library.keep_regions(take, given, "Ida")
    library.keep_run(take, measured_take(clip, 3), inputs)
    press = library.presses(take=take)[1]
    library.correct(press.id, Corrects.LAMP_ON, to=Measured(0.29, 0.001), by="Ida", why="glow")
    said = library.correct(
        press.id, Corrects.VERDICT, verdict=Verdict.REJECTED, by="Ida", why="slip"
    )
    library.undo(said, by="Ole", why="it was fine")


def main() -> None:
    """Write the newest schema's database."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with Library.init(folder / "library", made_by="0.1.0") as library:
            fill(library, folder)
        plain = sqlite3.connect(folder / "library" / "library.sqlite")
        plain.execute("UPDATE take SET source = name")  # no path of the machine that made it
        plain.commit()
        plain.execute("PRAGMA journal_mode = DELETE")
        plain.close()
        whole = (folder / "library" / "library.sqlite").read_bytes()
    (HERE / f"{NEWEST}.sqlite.gz").write_bytes(gzip.compress(whole, mtime=0))


if __name__ == "__main__":
    main()
