"""The tables of a study's data package: what each column holds, in which unit.

References
----------
Frictionless Data, "Table Schema" (specs.frictionlessdata.io): field types,
primary and foreign keys, missing values.
"""

from dataclasses import dataclass
from enum import StrEnum


class Kind(StrEnum):
    """The types of Table Schema that are used."""

    STRING = "string"
    NUMBER = "number"
    INTEGER = "integer"
    DATETIME = "datetime"
    ARRAY = "array"
    OBJECT = "object"


@dataclass(frozen=True, slots=True)
class Column:
    """One column; an empty cell of a ``nullable`` one means that there is no value."""

    name: str
    kind: Kind
    words: str
    nullable: bool = False


@dataclass(frozen=True, slots=True)
class TableSchema:
    """One table; ``refers`` maps a column to the table and column it points at."""

    name: str
    words: str
    columns: tuple[Column, ...]
    key: str
    refers: tuple[tuple[str, str, str], ...] = ()


def _text(name: str, words: str, nullable: bool = False) -> Column:
    return Column(name, Kind.STRING, words, nullable)


def _number(name: str, words: str, nullable: bool = True) -> Column:
    return Column(name, Kind.NUMBER, words, nullable)


def _whole(name: str, words: str, nullable: bool = False) -> Column:
    return Column(name, Kind.INTEGER, words, nullable)


def _instant(name: str, words: str, nullable: bool = True) -> tuple[Column, Column]:
    return (
        _number(f"{name}_s", f"{words}, seconds", nullable),
        _number(f"{name}_u_s", f"Its standard uncertainty, seconds ({name})", nullable),
    )


def _list(name: str, words: str, nullable: bool = False) -> Column:
    return Column(name, Kind.ARRAY, words, nullable)


def _made_at(words: str = "When it was kept") -> Column:
    return Column("made_at", Kind.DATETIME, words)


_NOTES = _text("notes", "Free notes")

STUDY = TableSchema(
    "study",
    "The question",
    (
        _text("name", "The study's name"),
        _text("question", "What its numbers are to answer"),
        _NOTES,
        _made_at(),
    ),
    "name",
)
DISPLAY = TableSchema(
    "display",
    "What is known of each display mode",
    (
        _text("name", "The profile's name"),
        *_instant("lag", "The display's own delay at the response's row"),
        _number("refresh_hz", "Refresh rate of the signal, hertz"),
        _number("game_rate_hz", "Frames a second that the game delivers, hertz"),
        _NOTES,
        _made_at(),
    ),
    "name",
)
CAMERA = TableSchema(
    "camera",
    "What is known of each camera mode",
    (
        _text("name", "The profile's name"),
        *_instant("exposure", "How long one row gathers light"),
        *_instant("readout", "From the start of the first row's exposure to the last's"),
        _NOTES,
        _made_at(),
    ),
    "name",
)
SETUP = TableSchema(
    "setup",
    "Everything held equal over a set of presses",
    (
        _text("name", "The setup's name"),
        _text("platform", "The console or computer"),
        _text("title", "The game"),
        _text("build", "Its version or patch"),
        _text("mode", "The frame-rate mode"),
        _text("action", "What the press makes the game do"),
        _text("spot", "The exact place in the game"),
        _text("link", "How the controller is joined"),
        _text("picture_mode", "The display's picture mode"),
        _NOTES,
        _text("display", "Its display profile", nullable=True),
        _text("camera", "Its camera profile", nullable=True),
        _list("tags", "Words it is gathered under"),
        _made_at(),
    ),
    "name",
    (("display", "display", "name"), ("camera", "camera", "name")),
)
TAKE = TableSchema(
    "take",
    "Recorded clips",
    (
        _text("sha256", "SHA-256 of the clip's bytes"),
        _text("name", "The file's name"),
        _whole("size_bytes", "The file's size"),
        _text("setup", "The setup it was filmed in"),
        Column("added_at", Kind.DATETIME, "When it was added"),
    ),
    "sha256",
    (("setup", "setup", "name"),),
)
REGION_SET = TableSchema(
    "region_set",
    "Lamp, panel and watched part of a take, in pixels",
    (
        _whole("id", "Key within this package"),
        _text("take", "The take, by its hash"),
        _list("lamp", "Left, top, width, height"),
        _list("panel", "Four corners from top left clockwise", nullable=True),
        _list("watch", "Left, top, width, height"),
        _list("proposed", "Those that the program proposed itself"),
        _text("by", "Who gave them"),
        _made_at(),
    ),
    "id",
    (("take", "take", "sha256"),),
)
RUN = TableSchema(
    "run",
    "One measuring of one take; the latest of a take counts",
    (
        _whole("id", "Key within this package"),
        _text("take", "The take, by its hash"),
        _whole("region_set", "The regions used"),
        _text("display_profile", "The display profile used", nullable=True),
        _text("camera_profile", "The camera profile used", nullable=True),
        _made_at(),
        _text("program_version", "The version of blinkspan that measured"),
        Column("parameters", Kind.OBJECT, "Every option that changes the numbers"),
        _text("fingerprint", "SHA-256 of all that went in"),
        Column("facts", Kind.OBJECT, "What the file itself says"),
        Column("camera", Kind.OBJECT, "Exposure and readout as used, and whence"),
        Column("display", Kind.OBJECT, "The display's lag and rates as used"),
        _list("unpaired", "Responses that no press explains: seconds, uncertainty"),
        _list("notes", "What a person should know"),
        _whole("press_count", "How many presses it found"),
        _text("traces_sha256", "SHA-256 of the traces"),
        _text("seal", "SHA-256 of all that came out"),
    ),
    "id",
    (
        ("take", "take", "sha256"),
        ("region_set", "region_set", "id"),
        ("display_profile", "display", "name"),
        ("camera_profile", "camera", "name"),
    ),
)
PRESS = TableSchema(
    "press",
    "Presses as measured, before any correction",
    (
        _whole("id", "Key within this package"),
        _whole("run", "The run that found it"),
        _whole("number", "1 for the first press of the take"),
        *_instant("lamp_on", "Lamp onset", nullable=False),
        *_instant("lamp_off", "Lamp release"),
        *_instant("response", "First visible change that the press caused"),
        _number("response_row_px", "The row at which the response is timed, pixels"),
        *_instant("span", "Response less lamp onset, shutter skew taken out"),
        *_instant("net", "Span less display lag"),
        _list("budget", "Terms of the span's uncertainty: name, seconds, shared by the take"),
        _text("verdict", "accepted, doubtful or rejected"),
        _text("reason", "Why it is not simply accepted", nullable=True),
        _whole("lamp_on_frame", "Frame of the lamp onset, from 0", nullable=True),
        _whole("response_frame", "Frame of the response, from 0", nullable=True),
    ),
    "id",
    (("run", "run", "id"),),
)
CORRECTION = TableSchema(
    "correction",
    "What a person said of a press, and undoings, in the order they were made",
    (
        _whole("id", "Key within this package"),
        _text("take", "The take, by its hash"),
        _whole("press", "The press it was made on"),
        _number("anchor_s", "The lamp onset by which it is found again, seconds", nullable=False),
        _text("kind", "lamp onset, response, verdict or undo"),
        *_instant("value", "The instant moved to"),
        _text("verdict", "accepted, doubtful or rejected", nullable=True),
        _text("reason", "Why it is not simply accepted", nullable=True),
        _text("why", "The person's reason"),
        _text("by", "Who said it"),
        _made_at("When it was said"),
        _whole("undoes", "The correction that it undoes", nullable=True),
    ),
    "id",
    (("take", "take", "sha256"), ("press", "press", "id"), ("undoes", "correction", "id")),
)

TABLES = (STUDY, DISPLAY, CAMERA, SETUP, TAKE, REGION_SET, RUN, PRESS, CORRECTION)
