"""An inspected take as a person reads it in a terminal."""

from rich.table import Table

from blinkspan.cli.region_options import box_words, panel_words
from blinkspan.cli.terminal import console, say
from blinkspan.onsets.cadence import Cadence
from blinkspan.onsets.whole_grid import WholeGrid
from blinkspan.publish import words
from blinkspan.rig.inspection import Inspection
from blinkspan.rig.lamp_quality import LampQuality

_NOT_SEEN = "not seen"


def show_inspection(seen: Inspection, *, to_error: bool) -> None:
    """Print what is seen, the budget of a press, the advice and the notes."""
    out = console(to_error=to_error)
    table = Table(show_header=False, box=None, padding=(0, 2, 0, 0))
    table.add_column(no_wrap=True)
    table.add_column()
    for name, told in _rows(seen):
        table.add_row(name, told)
    out.print(table, highlight=False, markup=False)
    if seen.budget is not None:
        out.print()
        out.print(_budget(seen), highlight=False)
    if seen.advice:
        say(out, "What would help, the most helpful first:")
    for advice in seen.advice:
        now, then = (words.number(1e3 * u, 2) for u in (advice.u_now_s, advice.u_then_s))
        say(out, f"- {advice.action} (one press: ± {now} ms would become ± {then} ms)")
    if seen.budget is not None and not seen.advice:
        say(out, "Nothing on this rig would make a press known much better.")
    for note in seen.notes:
        say(out, note)


def _rows(seen: Inspection) -> list[tuple[str, str]]:
    take = seen.take
    rows = [
        ("take", f"{take.name}, {take.width_px}x{take.height_px}, {take.codec}"),
        (
            "rate",
            f"{take.rate_hz:.6g} frames a second ({take.rate_source}); {take.frames} frames, "
            f"{take.duration_s:.1f} s; {take.dropped_frames or 'none'} dropped",
        ),
    ]
    if seen.regions is not None:
        rows.append(("lamp at", box_words(seen.regions.lamp)))
        panel = seen.regions.panel
        rows.append(("screen at", "not found" if panel is None else panel_words(panel)))
        rows.append(("watched part", box_words(seen.regions.watch)))
    elif not seen.panel_seen:
        rows.append(("screen at", "not found"))
    rows.append(("lamp", _NOT_SEEN if seen.lamp is None else _lamp(seen.lamp)))
    rows.append(("room light", _room(seen)))
    if seen.camera is not None:
        camera = seen.camera
        share = 100 * camera.exposure_s.value * take.rate_hz
        exposure = camera.exposure_s * 1e3
        readout = camera.readout_s * 1e3
        rows.append(
            (
                "exposure",
                f"{words.with_u(exposure.value, exposure.u)}, {share:.0f} % of a frame "
                f"({camera.exposure_source})",
            )
        )
        rows.append(
            (
                "readout",
                f"{words.with_u(readout.value, readout.u)} from first to last row "
                f"({_readout_source(camera.readout_source)})",
            )
        )
    rows.append(("refresh", _refresh(seen)))
    if isinstance(seen.grid, WholeGrid):
        ppm = seen.grid.clock_ppm
        rows.append(
            (
                "camera clock",
                f"{words.number(ppm.value, 0)} ± {words.number(ppm.u, 0)} parts per million, "
                f"if the signal is {words.hertz(seen.grid.nominal_hz)}",
            )
        )
    if seen.scan_s is not None:
        scan = seen.scan_s * 1e3
        rows.append(("scan", f"{words.with_u(scan.value, scan.u)} from top to bottom"))
    if seen.cadence is not None:
        rows.append(("game frames", _cadence(seen.cadence)))
    return rows


def _lamp(lamp: LampQuality) -> str:
    told = [
        f"{lamp.presses} {'press' if lamp.presses == 1 else 'presses'}",
        f"light {100 * lamp.dark_light:.1f} % dark, {100 * lamp.lit_light:.1f} % lit",
        f"noise {100 * lamp.noise:.1f} %",
    ]
    if lamp.clipped:
        told.append("clipped")
    elif lamp.read_from_glow:
        told.append("its middle clips, read from its glow")
    if lamp.pulsed:
        told.append("pulsed")
    if lamp.unsteady_presses:
        told.append(f"unsteady in {lamp.unsteady_presses}")
    return ", ".join(told)


def _room(seen: Inspection) -> str:
    if seen.regions is None:
        return _NOT_SEEN
    if seen.flicker is None:
        return "steady"
    return f"flickers at {seen.flicker.ripple_hz:g} Hz by {100 * seen.flicker.depth:.0f} %"


def _readout_source(source: str) -> str:
    if source == "from the take":
        return "from the take: a scan of 0.96 of a refresh less the slant of the answers"
    if source == "assumed":
        return "not known: anything up to a whole frame"
    return source


def _refresh(seen: Inspection) -> str:
    if isinstance(seen.grid, WholeGrid):
        rate = seen.grid.refresh_hz
        return (
            f"{rate.value:.4f} ± {rate.u:.4f} Hz by the camera's clock, from all that moves; "
            f"held to be {words.hertz(seen.grid.nominal_hz)}"
        )
    if seen.answers_grid is not None:
        grid = seen.answers_grid
        return (
            f"{grid.refresh_hz:.3f} Hz by the camera's clock, from {grid.answers} answers; "
            f"held to be {words.hertz(grid.nominal_hz)}"
        )
    return f"no grid seen: {seen.grid.value}"


def _cadence(cadence: Cadence) -> str:
    each = "refresh" if cadence.refreshes_a_frame == 1 else f"{cadence.refreshes_a_frame} refreshes"
    told = (
        f"{words.hertz(cadence.game_hz)}, one every {each} ({cadence.steps} seen, "
        f"{100 * cadence.moving_share:.0f} % of the take); "
        f"{cadence.late or 'none'} late or dropped, {cadence.early or 'none'} early"
    )
    if cadence.torn:
        told += f", {cadence.torn} torn"
    return told


def _budget(seen: Inspection) -> Table:
    assert seen.budget is not None  # asked for only where there is one
    leading = seen.budget.leading
    table = Table("one press", "± ms", "shared by the take")
    table.columns[1].justify = "right"
    for term in seen.budget.terms:
        name = f"{term.name} (leads)" if term is leading else term.name
        table.add_row(name, words.number(1e3 * term.u_s, 2), "yes" if term.shared else "no")
    table.add_section()
    table.add_row("all together", words.number(1e3 * seen.budget.u_s, 2), "")
    return table
