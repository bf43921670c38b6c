"""An inspected take as a person reads it in a terminal."""

from rich.table import Table

from blinkspan.cli.region_options import box_words, panel_words
from blinkspan.cli.terminal import console, say
from blinkspan.publish import words
from blinkspan.publish.inspection_words import advice_words, inspection_rows
from blinkspan.rig.inspection import Inspection


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
    for advice in advice_words(seen):
        say(out, f"- {advice}")
    if seen.budget is not None and not seen.advice:
        say(out, "Nothing on this rig would make a press known much better.")
    for note in seen.notes:
        say(out, note)


def _rows(seen: Inspection) -> list[tuple[str, str]]:
    take = seen.take
    rows = [("take", f"{take.name}, {take.width_px}x{take.height_px}, {take.codec}")]
    if seen.regions is not None:
        rows.append(("lamp at", box_words(seen.regions.lamp)))
        panel = seen.regions.panel
        rows.append(("screen at", "not found" if panel is None else panel_words(panel)))
        rows.append(("watched part", box_words(seen.regions.watch)))
    elif not seen.panel_seen:
        rows.append(("screen at", "not found"))
    rate, *others = inspection_rows(seen)
    return [rows[0], rate, *rows[1:], *others]


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
