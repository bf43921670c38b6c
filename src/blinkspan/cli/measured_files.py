"""The files a measured take is written to; refused before the work where they cannot be."""

from pathlib import Path

from blinkspan.errors import BadSetting, UnwritableOutput

STDOUT = "-"


def refuse_outputs(take: Path, json_to: str | None, csv_to: str | None, report: str | None) -> None:
    """Refuse outputs that cannot be written, that are the take itself, or that are one file.

    Raises
    ------
    BadSetting, UnwritableOutput
        Naming the first of them.
    """
    from blinkspan.publish.output import refuse_unwritable

    asked = {"--json": json_to, "--csv": csv_to, "--report": report}
    seen: dict[Path, str] = {}
    for option, target in asked.items():
        if target is None or (option == "--json" and target == STDOUT):
            continue
        if target == STDOUT:
            raise BadSetting(f"{option} cannot go to standard output, only --json can; name a file")
        path = Path(target)
        refuse_unwritable(path)
        if path.exists() and take.exists() and path.samefile(take):
            raise UnwritableOutput(f"{option} {path} is the take itself; name another file")
        if path.resolve() in seen and not path.is_char_device():
            raise BadSetting(
                f"{seen[path.resolve()]} and {option} both name {path}; give two files"
            )
        seen[path.resolve()] = option
