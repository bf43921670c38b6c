"""A library of a million presses in 2,000 setups: how long one waits, SQLite and PostgreSQL.

``python benchmarks/library.py`` builds both libraries (some minutes and about
1 GB under the temporary folder) and prints a table. ``--setups 50`` is a look.
"""

import argparse
import hashlib
import statistics
import sys
import tempfile
import time
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path

import sqlalchemy as sa

sys.path.insert(0, str(Path(__file__).parent.parent / "tests" / "library"))

from invented_takes import measured_take
from team_server import server_programs, team_server

from blinkspan.library import Library, runs, takes
from blinkspan.library.overview import refresh_digest
from blinkspan.library.runs import Inputs
from blinkspan.library.tables import TakeRow
from blinkspan.study.setup import Conditions, Setup, Study

STUDY = "harbour"
TAKES, PRESSES = 5, 100  # of each setup
ROUNDS = 9


def build(library: Library, setups: int) -> None:
    """Fill a library as its own verbs would, many setups to a transaction."""
    file = library.folder / "invented.mp4"
    file.write_bytes(b"x")
    found = [measured_take(file, seed, PRESSES) for seed in range(20)]
    library.add_study(Study(STUDY))
    kept = []
    for number in range(setups):
        words = Conditions(f"platform {number % 7}", f"title {number % 97}", mode="60")
        kept.append(library.add_setup(STUDY, Setup(f"setup {number}", words)))
    for first in range(0, setups, 50):
        with library.database.writing() as db:
            for setup in kept[first : first + 50]:
                for nth in range(TAKES):
                    add(library, db, setup, found[(setup.id + nth) % 20], nth)


def add(library, db, setup, measurement, nth):
    """Add one take with its run as the store does."""
    sha256 = hashlib.sha256(f"{setup.id} {nth}".encode()).hexdigest()
    named = replace(measurement, take=replace(measurement.take, sha256=sha256))
    db.execute(
        sa.insert(TakeRow).values(
            sha256=sha256, name=f"{nth}.mp4", size_bytes=1, setup_id=setup.id,
            keeping="elsewhere", source="", state="kept", added_at=library.now(),
        )
    )  # fmt: skip
    take = takes.take_by_hash(db, sha256)
    runs.keep_run(db, take, named, Inputs("0.1.0", {}), library.now())
    refresh_digest(db, take.id)


def median_ms(act, rounds=ROUNDS) -> float:
    """Return the median time of an act in milliseconds, after one that does not count."""
    act()
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        act()
        times.append(1e3 * (time.perf_counter() - start))
    return statistics.median(times)


def waits(folder: Path, address: str, setups: int) -> dict[str, float]:
    """Return how long each question takes of a library made for it, in milliseconds."""
    with Library.init(folder, address) as library:
        start = time.perf_counter()
        build(library, setups)
        built_s = time.perf_counter() - start
        if library.database.is_sqlite:
            with library.database.engine.connect() as connection:
                connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    with Library.open(folder) as library:
        view = library.study(STUDY)
        some = library.setup(STUDY, f"setup {setups // 2}")
        assert len(library.presses(setup=some)) == TAKES * PRESSES
        assert sum(g.n + g.doubtful for g in view.overview()) == setups * TAKES * PRESSES
        take = library.takes(setup=some)[0]
        large = measured_take(folder / "invented.mp4", 1, 10_000)
        large = replace(large, take=replace(large.take, sha256=take.sha256))
        return {
            "building it, s": built_s,
            "a study's overview, ms (aim 200)": median_ms(view.overview),
            "a setup's presses, ms (aim 50)": median_ms(lambda: library.presses(setup=some)),
            "adding 10,000 presses, ms (aim 2,000)": median_ms(
                lambda: library.keep_run(take, large, Inputs("0.1.0", {})), 3
            ),
            "searching conditions, ms": median_ms(lambda: library.find_setups(text="title 13")),
        }


def main() -> None:
    """Build, ask and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--setups", type=int, default=2000)
    setups = parser.parse_args().setups
    with ExitStack() as stack:
        place = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        table = {"SQLite": waits(place / "sqlite", "library.sqlite", setups)}
        programs = server_programs()
        if programs is None:
            print("PostgreSQL's server is not installed: SQLite alone")
        else:
            address = stack.enter_context(team_server(programs, "")).format(name="postgres")
            table["PostgreSQL"] = waits(place / "team", address, setups)
    print(f"{setups:,} setups, {setups * TAKES * PRESSES:,} presses\n")
    print(f"| | {' | '.join(table)} |")
    print(f"|---|{'---:|' * len(table)}")
    for question in table["SQLite"]:
        print(f"| {question} | {' | '.join(f'{t[question]:,.0f}' for t in table.values())} |")


if __name__ == "__main__":
    main()
