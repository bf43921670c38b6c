"""What a take shows of its rig, in words: the terminal and the page say the same."""

from blinkspan.onsets.cadence import Cadence
from blinkspan.onsets.whole_grid import WholeGrid
from blinkspan.publish import words
from blinkspan.rig.inspection import Inspection
from blinkspan.rig.lamp_quality import LampQuality

_NOT_SEEN = "not seen"


def inspection_rows(seen: Inspection) -> list[tuple[str, str]]:
    """Return what is seen of the rig, each with its name, the film's rate first."""
    take = seen.take
    rows = [
        (
            "rate",
            f"{take.rate_hz:.6g} frames a second ({take.rate_source}); {take.frames} frames, "
            f"{take.duration_s:.1f} s; {take.dropped_frames or 'none'} dropped",
        ),
    ]
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


def advice_words(seen: Inspection) -> list[str]:
    """Return what would make a press known better, the most helpful first."""
    told = []
    for advice in seen.advice:
        now, then = (words.number(1e3 * u, 2) for u in (advice.u_now_s, advice.u_then_s))
        told.append(f"{advice.action} (one press: ± {now} ms would become ± {then} ms)")
    return told


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
