"""The small library of the page's tests: its names, and a page served over it."""

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from blinkspan.web.app import create_app
from blinkspan.web.launch import PageServer

STUDY = "Lantern Row: does the patch help?"
SETUPS = ("Corvid 60, build 1.2", "Corvid 60, build 1.3")


@contextmanager
def serving(library: Path, port: int = 0, folders: tuple[Path, ...] = ()) -> Iterator[str]:
    """Yield the address of a page served by a thread of this process."""
    with socket.socket() as listening:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind(("127.0.0.1", port))
        address = f"http://127.0.0.1:{listening.getsockname()[1]}"
        app = create_app(library, person="Mara", folders=folders)
        server = PageServer(app)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
        thread.start()
        while not server.started:
            assert thread.is_alive(), "the server ended before it began"
            time.sleep(0.01)
        try:
            yield address
        finally:
            server.should_exit = True
            thread.join()
