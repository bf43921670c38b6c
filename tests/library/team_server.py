"""A PostgreSQL server on a socket, run by an unprivileged user for as long as it is needed."""

import os
import secrets
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


def server_programs() -> Path | None:
    """Return the folder of PostgreSQL's own programs, which Debian keeps off the path."""
    real = [
        place
        for place in sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)
        if (place / "initdb").exists()
    ]
    if real:
        return real[0]
    found = shutil.which("initdb")
    return Path(found).resolve().parent if found else None


@contextmanager
def team_server(programs: Path, settings: str = "-c fsync=off") -> Iterator[str]:
    """Yield the server's address with ``{name}`` for the database, from its start to its stop."""
    user = "nobody" if os.geteuid() == 0 else None  # the server refuses to run as root
    home = Path(f"/tmp/pg-{secrets.token_hex(4)}")  # a socket's path must be short
    home.mkdir(mode=0o700)
    if user:
        shutil.chown(home, user)
    data = home / "data"

    def run(*words):
        subprocess.run(words, check=True, user=user, cwd=home, capture_output=True, timeout=120)

    run(programs / "initdb", "-D", data, "-U", "tester", "-A", "trust", "-E", "UTF8", "--no-sync")
    place = f"-c listen_addresses='' -c unix_socket_directories={home} {settings}"
    run(programs / "pg_ctl", "-D", data, "-w", "-l", home / "log", "-o", place, "start")
    try:
        yield f"postgresql+psycopg://tester@/{{name}}?host={home}"
    finally:
        run(programs / "pg_ctl", "-D", data, "-w", "-m", "immediate", "stop")
        shutil.rmtree(home, ignore_errors=True)
