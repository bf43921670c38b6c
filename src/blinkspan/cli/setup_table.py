"""Setups side by side as a person reads them in a terminal."""

from collections.abc import Sequence

from rich.table import Table

from blinkspan.jobs.setups import MeasuredSetup
from blinkspan.publish import words
from blinkspan.study.phrases import counted, listed, plain, told
from blinkspan.study.summary import Summary

_NARROWEST_NAME = 12  # a name breaks into lines before it vanishes on 80 columns


def setup_table(setups: Sequence[MeasuredSetup]) -> Table:
    """Return one row a setup: presses, median with interval, reach and spread.

    It fits 80 columns: a long name breaks into lines, no number is cut.
    """
    table = Table(
        "setup", "n", "median, ms", "frames", "low to high", "sd", "mid 80 %", padding=(0, 0, 0, 1)
    )
    for column in table.columns[1:]:
        column.justify, column.no_wrap = "right", True
    table.columns[0].min_width = _NARROWEST_NAME
    for setup in setups:
        one = setup.summary
        frames = one.median_game_frames
        table.add_row(
            setup.sample.name,
            str(one.n),
            "–" if one.median_ms is None else told(one.median_ms),
            "–" if frames is None else plain(frames.value, 2),
            "–" if one.n == 0 else f"{words.number(one.low_ms)} – {words.number(one.high_ms)}",
            words.number(one.spread_ms),
            words.number(one.trimmed_spread_ms),
        )
    return table


def setup_notes(setups: Sequence[MeasuredSetup]) -> list[str]:
    """Return what must be known before the medians are used, each setup named."""
    return [
        f"{setup.sample.name}: {note}"
        for setup in setups
        for note in (*_left_out(setup.summary), *setup.summary.notes())
    ]


def _left_out(summary: Summary) -> tuple[str, ...]:
    """Say which presses are not in the numbers, in no or one sentence."""
    counts = ((summary.doubtful, "doubtful"), (summary.rejected, "rejected"))
    parts = [counted(number, f"{word} press") for number, word in counts if number]
    if not parts:
        return ()
    is_one = summary.doubtful + summary.rejected == 1
    return (f"{listed(parts)} {'is' if is_one else 'are'} not in these numbers.",)
