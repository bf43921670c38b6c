"""The page as an application: every route and page, behind the guard."""

from collections.abc import AsyncIterator, Iterable
from contextlib import asynccontextmanager
from getpass import getuser
from importlib import import_module
from importlib.metadata import version
from pathlib import Path
from pkgutil import iter_modules
from types import ModuleType

from fastapi import FastAPI

from blinkspan.web import api, pages, refusals
from blinkspan.web.answers import Answers
from blinkspan.web.desk import Desk
from blinkspan.web.guard import Guard
from blinkspan.web.shell import environment
from blinkspan.web.still_files import StillFiles, fingerprint

LOOPBACK = ("127.0.0.1", "localhost", "::1")


def create_app(
    library: Path,
    *,
    hosts: Iterable[str] = LOOPBACK,
    token: str | None = None,
    person: str | None = None,
    folders: Iterable[Path] = (),
) -> FastAPI:
    """Return the application that shows a library.

    Parameters
    ----------
    library : Path
        The folder of the library.
    hosts : iterable of str
        Names and addresses under which it is reached; requests to any other are refused.
    token : str | None
        What every request has to carry; None for a page that only this machine reaches.
    person : str | None
        Whose name corrections carry by default; the name of the account where not given.
    folders : iterable of Path
        From where the page may add clips and which it may watch; no other place is reached.
    """
    desk = Desk(library, person or _account(), tuple(folders))

    @asynccontextmanager
    async def life(_: FastAPI) -> AsyncIterator[None]:
        yield
        desk.close()

    app = FastAPI(
        title="blinkspan",
        version=version("blinkspan"),
        summary="The interface under the page: takes, frames, traces, presses and corrections.",
        docs_url=None,  # its pages load scripts from elsewhere; the description itself is served
        redoc_url=None,
        openapi_url="/api/openapi.json",
        lifespan=life,
    )
    app.state.desk = desk
    still = f"/static/{fingerprint()}"
    app.state.templates = environment(still)
    app.state.answers = Answers()
    shown = [*_modules(api), *_modules(pages)]
    for module in shown:
        app.include_router(module.router)
    places = [module.PLACE for module in shown if hasattr(module, "PLACE")]
    app.state.places = sorted(places, key=lambda place: place.order)
    app.mount(still, StillFiles(forever=True))
    app.mount("/static", StillFiles(forever=False))
    refusals.install(app)
    app.add_middleware(Guard, hosts=tuple(hosts), token=token)
    return app


def _modules(package: ModuleType) -> list[ModuleType]:
    """Return the modules of a package that bring routes of their own, by name."""
    found = [
        import_module(f"{package.__name__}.{each.name}") for each in iter_modules(package.__path__)
    ]
    return [module for module in found if hasattr(module, "router")]


def _account() -> str:
    try:
        return getuser()
    except (OSError, KeyError):  # an account without a name, as in some containers
        return "reviewer"
