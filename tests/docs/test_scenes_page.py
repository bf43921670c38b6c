"""The page of scenes, exact: every setting with its usual value and its range, every scene."""

import re
from dataclasses import fields, is_dataclass

from blinkspan.stage.catalogue import CATALOGUE
from blinkspan.stage.limits import _RANGES
from blinkspan.stage.scene import Scene
from blinkspan.stage.scene_file import parse_scene
from docs.pages import blocks, text

PAGE = text("docs/scenes.md")


def described() -> dict[str, list[str]]:
    """Return usual value, range and meaning of every setting on the page, by its whole name."""
    rows, table = {}, ""
    for line in PAGE.splitlines():
        if head := re.match(r"### `\[(\w+)\]`", line):
            table = f"{head[1]}."
        elif row := re.match(r"\| `(\w+)` \| (.+) \| (.+) \| (.+) \|$", line):
            rows[f"{table}{row[1]}"] = [row[2], row[3], row[4]]
    return rows


def settings() -> list[str]:
    """Return the whole name of every setting that a scene may have."""
    names = []
    for part in fields(Scene):
        value = getattr(Scene(), part.name)
        if is_dataclass(value):
            names += [f"{part.name}.{each.name}" for each in fields(value)]
        else:
            names.append(part.name)
    return names


def test_every_setting_is_described_and_no_other():
    assert sorted(described()) == sorted(settings())


def test_the_usual_values_make_the_usual_scene():
    usual = {name: row[0].strip("`") for name, row in described().items() if row[0][0] == "`"}
    # The name comes from the file, and nothing is stamped for slow playback.
    assert described().keys() - usual.keys() == {"name", "film.stamped_hz"}
    assert Scene().film.stamped_hz is None
    assert parse_scene("\n".join(f"{name} = {value}" for name, value in usual.items())) == Scene()


def test_the_ranges_are_those_that_are_kept():
    rows = described()
    assert {name: rows[name][1] for name in _RANGES} == {
        name: f"{least:g} to {most:g}" for name, (least, most) in _RANGES.items()
    }


def test_every_built_in_scene_is_described_and_no_other():
    table = PAGE.partition("## Built-in scenes")[2]
    names = re.findall(r"^\| (`.+?) \|", table, re.MULTILINE)
    assert sorted(re.findall(r"`([a-z0-9-]+)`", " ".join(names))) == sorted(CATALOGUE)


def test_the_example_is_a_scene():
    (example,) = blocks(PAGE, "toml")
    scene = parse_scene(example, "evening")
    assert (scene.presses.count, scene.game.miss) == (7, 0.15)
