"""The project's pages as text, for the tests that hold them to the program."""

import re
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"
PAGES = sorted([*ROOT.glob("*.md"), *DOCS.glob("*.md")])
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]


def text(name: str) -> str:
    """Return a page, by its path from the root."""
    return (ROOT / name).read_text(encoding="utf-8")


def blocks(page: str, language: str) -> list[str]:
    """Return the fenced blocks of one language."""
    return re.findall(rf"^```{language}\n(.*?)^```$", page, re.DOTALL | re.MULTILINE)


def prose(page: str) -> str:
    """Return a page without its fenced blocks."""
    return re.sub(r"^```.*?^```$", "", page, flags=re.DOTALL | re.MULTILINE)


def anchors(page: str) -> set[str]:
    """Return the names under which a page's headings are linked."""
    heads = re.findall(r"^#+ (.+)$", prose(page), re.MULTILINE)
    kept = [re.sub(r"[^\w\- ]", "", head.lower()) for head in heads]
    return {head.strip().replace(" ", "-") for head in kept}
