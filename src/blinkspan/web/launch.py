"""Start the page on this machine and open it in the browser."""

import ctypes
import ipaddress
import secrets
import socket
import sys
import threading
import time
import webbrowser
from collections.abc import Callable
from contextlib import suppress
from importlib import import_module
from pathlib import Path

import uvicorn
from fastapi import FastAPI

from blinkspan.errors import BadSetting
from blinkspan.jobs.review import overview
from blinkspan.web.app import LOOPBACK, create_app
from blinkspan.web.desk import Desk

_SHORTEST_TOKEN = 16
# Needed by other pages than the first, and slow to import (a third of a second together).
_LATER = ("blinkspan.jobs.background", "scipy.optimize")
_FIRST_PAGE_S = 1.0
_MMAP_THRESHOLD = -3  # as malloc.h numbers it
_LARGE_BYTES = 2**20
_ALL_ADDRESSES = ("0.0.0.0", "::")


def launch(
    library: Path,
    *,
    host: str = LOOPBACK[0],
    port: int = 0,
    token: str | None = None,
    person: str | None = None,
    folders: tuple[Path, ...] = (),
    browser: bool = True,
    tell: Callable[[str], None],
) -> None:
    """Serve the page until it is interrupted.

    Parameters
    ----------
    host : str
        An address of this machine. On any but the loopback a token is required.
    port : int
        0 for one that is free.
    folders : tuple of Path
        From where the page may add clips and which it may watch.
    tell : callable
        Told the address once the page answers there.

    Raises
    ------
    BadSetting
        The address or port cannot be used, or the token is missing or too short.
    UnusableLibrary
        The library cannot be opened.
    """
    require_token(host, token)
    overview(library)  # a library that cannot be opened is told here, not on the page
    listening = _bound(host, port)
    port = listening.getsockname()[1]
    hosts = LOOPBACK if is_loopback(host) else (*LOOPBACK, host, *_own_names(host))
    app = create_app(library, hosts=hosts, token=token, person=person, folders=folders)
    address = f"http://{_spelt(host)}:{port}/" + (f"?token={token}" if token else "")
    server = PageServer(app)

    def announce() -> None:
        threading.Thread(target=_load_rest, daemon=True).start()
        tell(address)
        if browser:
            webbrowser.open(address)

    _when_started(server, announce)
    _give_back_at_once()
    with listening:
        server.run(sockets=[listening])


class PageServer(uvicorn.Server):
    """The server of a page; it ends though browsers still listen to its events."""

    def __init__(self, app: FastAPI) -> None:
        super().__init__(
            uvicorn.Config(
                app, log_level="warning", access_log=False, server_header=False, ws="none"
            )
        )
        self._desk: Desk = app.state.desk

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """End the streams of events, then what is left."""
        self._desk.ending.set()
        await super().shutdown(sockets)


def require_token(host: str, token: str | None) -> None:
    """Refuse an address that others reach without a token that cannot be guessed."""
    if token is not None and len(token) < _SHORTEST_TOKEN:
        raise BadSetting(
            f"a token of {len(token)} characters can be guessed; give {_SHORTEST_TOKEN} or more, "
            f"such as {secrets.token_urlsafe(_SHORTEST_TOKEN)}"
        )
    if not is_loopback(host) and token is None:
        raise BadSetting(
            f"others can reach {host}, so the page needs a token there; give one, such as "
            f"--token {secrets.token_urlsafe(_SHORTEST_TOKEN)}"
        )


def is_loopback(host: str) -> bool:
    """Return whether an address is reached from this machine only.

    Examples
    --------
    >>> is_loopback("127.0.0.1"), is_loopback("localhost"), is_loopback("0.0.0.0")
    (True, True, False)
    """
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _bound(host: str, port: int) -> socket.socket:
    try:
        kind, *_, place = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0]
        listening = socket.socket(kind, socket.SOCK_STREAM)
        try:
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            listening.bind(place)
        except BaseException:
            listening.close()
            raise
    except (OSError, OverflowError) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise BadSetting(
            f"{host}, port {port} cannot be used ({why.lower()}); leave --port away for a free one"
        ) from error
    return listening


def _own_names(host: str) -> tuple[str, ...]:
    """Return under what else this machine is reached where it listens at all its addresses."""
    if host not in _ALL_ADDRESSES:
        return ()
    name = socket.gethostname().lower()
    try:
        found = {str(each[4][0]) for each in socket.getaddrinfo(name, None)}
    except OSError:
        found = set()
    return (name, f"{name}.local", *sorted(found))


def _spelt(host: str) -> str:
    return f"[{host}]" if ":" in host else host


def _give_back_at_once() -> None:
    """Have large pieces of memory given back when they are freed.

    Pictures of megabytes come and go in several threads. The GNU C library
    would keep what is freed for the thread that used it, a hundred megabytes
    in all (mallopt(3), M_MMAP_THRESHOLD).
    """
    if sys.platform.startswith("linux"):
        with suppress(AttributeError, OSError):  # another C library
            ctypes.CDLL(None).mallopt(_MMAP_THRESHOLD, _LARGE_BYTES)


def _load_rest() -> None:
    """Import what the first page does without, once it is likely served."""
    time.sleep(_FIRST_PAGE_S)
    for name in _LATER:
        import_module(name)


def _when_started(server: uvicorn.Server, then: Callable[[], None]) -> None:
    """Call a function once the server answers, from a thread that ends with it."""
    over = threading.Event()

    def look() -> None:
        while not server.started:
            if over.wait(0.02) or server.should_exit:
                return
        then()

    threading.Thread(target=look, daemon=True).start()
