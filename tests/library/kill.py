"""Kill a working library again and again at random moments, and hold what is left to its word.

``python tests/library/kill.py --rounds 200`` is the full trial; the test suite
runs a few rounds of the same. Each round forks a worker that adds clips, keeps
runs, corrects presses, undoes corrections and makes backups, and notes each
step in a log once the library has said it is done. The worker is ended by
SIGKILL at a random moment. Then the library must open, a check must find no
problem, everything noted must be there as noted, every clip must have the
bytes its name promises, and a clip cut off on its way must come in when it is
added again.
"""

import argparse
import hashlib
import json
import os
import random
import signal
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import sqlalchemy as sa

sys.path.insert(0, str(Path(__file__).parent))

from invented_takes import LAG_SETUP, LAG_STUDY, measured_take

from blinkspan.library import Library
from blinkspan.library.backup import backup, restore
from blinkspan.library.check import check
from blinkspan.library.findings import Weight
from blinkspan.library.runs import Inputs
from blinkspan.library.tables import CorrectionRow, RunRow
from blinkspan.presses.correction import Corrects
from blinkspan.quantities import Measured

STEPS = ("add", "add", "measure", "measure", "correct", "correct", "undo", "backup")


def work(folder: Path, card: Path, log: Path, seed: int) -> None:
    """Do random steps for ever, and note each once it is done."""
    rng = random.Random(seed)
    noted = os.open(log, os.O_WRONLY | os.O_APPEND)
    with Library.open(folder / "results") as library:
        setup = library.setup(LAG_STUDY.name, LAG_SETUP.name)
        number = 0
        while True:
            number += 1
            for said in step(library, setup, folder, card, rng, seed * 1000 + number):
                os.write(noted, (json.dumps(said) + "\n").encode())


def step(library, setup, folder, card, rng, serial):
    """Yield what one random step has done."""
    kind = rng.choice(STEPS)
    takes = library.takes()
    if kind == "add" or not takes:
        # clips of very different size, so that some kills fall into a long copy
        clip = card / f"{serial}.mp4"
        size = rng.choice([1_000, 100_000, 4_000_000])
        clip.write_bytes(np.random.default_rng(serial).bytes(size))
        added = library.add_take(clip, setup)
        yield ["take", added.take.id, added.take.sha256]
        clip.unlink()
        return
    take = rng.choice(takes)
    if kind == "measure":
        found = measured_take(library.clip(take), serial, presses=rng.choice([1, 8, 200]))
        run = library.keep_run(take, found, Inputs("0.1.0", {"serial": serial}))
        yield ["run", run.id, run.seal]
    elif kind == "correct":
        presses = library.presses(take=take)
        if presses:
            press = rng.choice(presses)
            to = Measured(press.press.lamp_on.value + 0.001, 0.002)
            kept = library.correct(press.id, Corrects.LAMP_ON, to=to, by="Ida", why=str(serial))
            yield ["correction", kept.id, str(serial)]
    elif kind == "undo":
        said = library.corrections(take)
        undone = {kept.undoes_id for kept in said}
        free = [kept for kept in said if kept.id not in undone]
        if free:
            kept = library.undo(rng.choice(free), by="Ole", why=str(serial))
            yield ["correction", kept.id, str(serial)]
    else:
        *_, whole = backup(library, folder / "backups")
        yield ["backup", whole.name, len(takes)]


def judge(folder: Path, log: Path, rng: random.Random) -> None:
    """Hold the library to everything that was noted."""
    noted = [json.loads(line) for line in log.read_text().splitlines()]
    with Library.open(folder / "results") as library:
        problems = [found.text for found in check(library) if found.weight is Weight.PROBLEM]
        assert problems == []
        takes = {take.id: take for take in library.takes()}
        with library.database.reading() as db:
            seals = dict(db.execute(sa.select(RunRow.id, RunRow.seal)).all())
            words = dict(db.execute(sa.select(CorrectionRow.id, CorrectionRow.why)).all())
        for kind, key, said in noted:
            if kind == "take":
                assert takes[key].sha256 == said
            elif kind == "run":
                assert seals[key] == said
            elif kind == "correction":
                assert words[key] == said
            else:
                assert (folder / "backups" / key / "backup.json").is_file()
        for take in takes.values():
            held = hashlib.sha256(library.clip(take).read_bytes()).hexdigest()
            assert held == take.sha256
    backups = [key for kind, key, _ in noted if kind == "backup"]
    if backups:
        restore_and_check(folder, rng.choice(backups), noted)


def resume(folder: Path, card: Path, log: Path) -> None:
    """Add what the killed worker was busy with, as a person would run the command again."""
    with Library.open(folder / "results") as library:
        setup = library.setup(LAG_STUDY.name, LAG_SETUP.name)
        for clip in sorted(card.iterdir()):
            added = library.add_take(clip, setup)
            assert library.clip(added.take).read_bytes() == clip.read_bytes()
            with log.open("a") as noted:
                noted.write(json.dumps(["take", added.take.id, added.take.sha256]) + "\n")
            clip.unlink()


def restore_and_check(folder: Path, name: str, noted: list) -> None:
    """Hold one backup to what the library held when it was made."""
    with tempfile.TemporaryDirectory(dir=folder) as place:
        *_, again = restore(folder / "backups" / name, Path(place) / "again")
        with Library.open(again) as library:
            assert [f.text for f in check(library) if f.weight is Weight.PROBLEM] == []
            (at_least,) = (said for kind, key, said in noted if key == name)
            assert len(library.takes()) >= at_least


def trial(folder: Path, rounds: int, seed: int) -> dict[str, int]:
    """Return how many steps of each kind were done and held over all rounds."""
    rng = random.Random(seed)
    card, log = folder / "card", folder / "log"
    card.mkdir()
    log.touch()
    with Library.init(folder / "results") as library:
        library.add_study(LAG_STUDY)
        library.add_setup(LAG_STUDY.name, LAG_SETUP)
    for number in range(1, rounds + 1):
        worker = os.fork()
        if worker == 0:
            try:
                work(folder, card, log, seed * 100_000 + number)
            finally:
                os._exit(1)  # never reached but by a fault of the worker, which is one of ours
        time.sleep(rng.uniform(0.01, 0.5))
        ended, _ = os.waitpid(worker, os.WNOHANG)
        assert ended == 0, "the worker ended by itself"
        os.kill(worker, signal.SIGKILL)
        os.waitpid(worker, 0)
        judge(folder, log, rng)
        resume(folder, card, log)
    kinds = [json.loads(line)[0] for line in log.read_text().splitlines()]
    return {kind: kinds.count(kind) for kind in ("take", "run", "correction", "backup")}


def main() -> None:
    """Run the trial and print what it did."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rounds", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        held = trial(Path(name), asked.rounds, asked.seed)
    done = ", ".join(f"{count} {kind}s" for kind, count in held.items())
    sys.stdout.write(f"{asked.rounds} kills, nothing lost: {done} held\n")


if __name__ == "__main__":
    main()
