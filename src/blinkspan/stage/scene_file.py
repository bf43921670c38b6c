"""Scenes from short TOML files: only what differs from the usual scene is written.

name = "dim-room"
[camera]
rate_hz = "240000/1001"
[action]
kind = "pan"
"""

import tomllib
from dataclasses import fields, is_dataclass
from difflib import get_close_matches
from enum import Enum
from fractions import Fraction
from pathlib import Path
from types import UnionType
from typing import Any, get_args, get_origin, get_type_hints

from blinkspan.errors import BadSetting
from blinkspan.stage.catalogue import CATALOGUE
from blinkspan.stage.limits import check_scene
from blinkspan.stage.scene import Scene


def find_scene(name_or_path: str) -> Scene:
    """Return the built-in scene of that name, or the one a TOML file describes.

    Raises
    ------
    BadSetting
        No such name and no such file, or a file that describes no scene.
    """
    built_in = CATALOGUE.get(name_or_path)
    if built_in is not None:
        return built_in
    path = Path(name_or_path)
    if path.suffix == ".toml" or path.is_file():
        return read_scene(path)
    near = get_close_matches(name_or_path, CATALOGUE, n=1)
    hint = f"did you mean {near[0]!r}?" if near else f"choose one of {', '.join(CATALOGUE)}"
    raise BadSetting(f"there is no scene {name_or_path!r}; give a TOML file, or {hint}")


def read_scene(path: Path) -> Scene:
    """Return the scene that a TOML file describes.

    Raises
    ------
    BadSetting
        The file cannot be read, is not TOML, or holds a setting that does not exist
        or a value that cannot be.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as refusal:
        reason = getattr(refusal, "strerror", None) or "not text"
        raise BadSetting(f"{path}: cannot be read ({reason.lower()}); give a TOML file") from None
    try:
        return parse_scene(text, path.stem)
    except BadSetting as refusal:
        raise BadSetting(f"{path}: {refusal}") from None


def parse_scene(text: str, name: str = "scene") -> Scene:
    r"""Return the scene that TOML text describes, named ``name`` unless it names itself.

    Examples
    --------
    >>> parse_scene('[action]\nkind = "pan"').action.kind.value
    'pan'
    """
    try:
        held = tomllib.loads(text)
    except tomllib.TOMLDecodeError as refusal:
        raise BadSetting(f"not valid TOML ({refusal}); correct it there") from None
    scene = _made(Scene, {"name": name, **held}, "")
    assert isinstance(scene, Scene)
    check_scene(scene)
    return scene


def _made(kind: type, held: dict[str, Any], where: str) -> object:
    """Return a dataclass filled from a table, every key known."""
    hints = get_type_hints(kind)
    known = [each.name for each in fields(kind)]
    filled = {}
    for key, value in held.items():
        if key not in known:
            near = get_close_matches(key, known, n=1, cutoff=0.4)
            hint = (
                f"did you mean {where}{near[0]}?" if near else f"choose one of {', '.join(known)}"
            )
            raise BadSetting(f"there is no setting {where}{key}; {hint}")
        filled[key] = _read(hints[key], value, f"{where}{key}")
    made: object = kind(**filled)
    return made


def _read(kind: Any, value: Any, name: str) -> object:
    """Return one value as its field wants it."""
    if get_origin(kind) is UnionType:  # only "Fraction | None" occurs; TOML has no null
        kind = next(each for each in get_args(kind) if each is not type(None))
    if is_dataclass(kind):
        if not isinstance(value, dict):
            raise BadSetting(f"{name} is {value!r}; give it as a table [{name}]")
        return _made(kind, value, f"{name}.")  # type: ignore[arg-type]
    if get_origin(kind) is tuple:
        parts = get_args(kind)
        if not isinstance(value, list) or len(value) != len(parts):
            raise BadSetting(f"{name} is {value!r}; give a list of {len(parts)}")
        return tuple(_read(part, each, name) for part, each in zip(parts, value, strict=True))
    try:
        return _plain(kind, value)
    except (TypeError, ValueError, ZeroDivisionError):
        wanted = (
            f"one of {', '.join(str(each.value) for each in kind)}"
            if issubclass(kind, Enum)
            else _WANTED[kind]
        )
        raise BadSetting(f"{name} is {value!r}; give {wanted}") from None


_WANTED = {
    bool: "true or false",
    int: "a whole number",
    float: "a number",
    str: "a text in quotes",
    Fraction: 'a number, or a fraction such as "60000/1001"',
}


def _plain(kind: Any, value: Any) -> object:
    """Return a number, text, choice or truth value; ValueError or TypeError for another kind."""
    if kind is float and type(value) in (int, float):
        return float(value)
    if kind is Fraction and type(value) in (int, float, str):
        return Fraction(str(value))
    if kind in (int, bool, str) and type(value) is kind:
        return value
    if isinstance(kind, type) and issubclass(kind, Enum):
        return kind(value)
    raise TypeError(kind)
