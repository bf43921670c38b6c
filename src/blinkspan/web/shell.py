"""The page around every page: templates, navigation, and how an answer is rendered.

A page is a module in ``web/pages`` with a ``router``; where it belongs in the
navigation it says so by ``PLACE``. Templates extend ``base.html``.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any

from fastapi import Request
from fastapi.responses import HTMLResponse
from jinja2 import Environment, FileSystemLoader, StrictUndefined, select_autoescape

from blinkspan.publish import words
from blinkspan.web.page_words import on_page

_HERE = Path(__file__).parent


@dataclass(frozen=True, slots=True)
class Place:
    """Where a page stands in the navigation; the lowest ``order`` first."""

    label: str
    href: str
    order: int


def environment(static: str) -> Environment:
    """Return the templates with the words and numbers that every page uses.

    Parameters
    ----------
    static : str
        Where scripts and styles are served, under a name that changes with them.
    """
    made = Environment(
        loader=FileSystemLoader(_HERE / "templates"),
        autoescape=select_autoescape(("html", "svg"), default=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals["words"] = words
    made.globals["version"] = version("blinkspan")
    made.globals["static"] = static
    made.filters["on_page"] = on_page
    return made


def render(
    request: Request,
    template: str,
    context: Mapping[str, Any],
    *,
    status: int = 200,
) -> HTMLResponse:
    """Return a whole page.

    Parameters
    ----------
    template : str
        A file in ``templates`` that extends ``base.html``.
    context : mapping
        What the template shows.
    """
    state = request.app.state
    page = state.templates.get_template(template).render(
        **context,
        places=state.places,
        path=request.url.path,
        person=state.desk.person,
        library_name=state.desk.library.resolve().name,
    )
    return HTMLResponse(page, status)
