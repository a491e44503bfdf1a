"""A real PostgreSQL for tests, in a folder of its own; from Debian's package, where that is installed."""

from __future__ import annotations

import os
import pwd
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

__all__ = ["postgresql", "programs"]


def programs() -> Path | None:
    """The folder of PostgreSQL's own programs."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    on_path = shutil.which("initdb")
    return found[-1].parent if found else None if on_path is None else Path(on_path).parent


@contextmanager
def postgresql() -> Iterator[str]:
    """Start a server that listens on a socket only; give the URL of its first database."""
    there = programs()
    assert there is not None
    folder = Path(tempfile.mkdtemp(prefix="fitup-pg-"))  # a short path: sockets have no room for long ones
    user = _server_user()
    if user is not None:
        os.chown(folder, user, -1)
    folder.chmod(0o700 if user is None else 0o711)
    data = folder / "data"
    options = {} if user is None else {"user": user}
    subprocess.run(
        [there / "initdb", "-D", data, "-U", "fitup", "-A", "trust", "-E", "UTF8", "--locale=C", "--no-sync"],
        check=True,
        capture_output=True,
        cwd=folder,
        **options,  # type: ignore[call-overload]
    )
    server = subprocess.Popen(
        [there / "postgres", "-D", data, "-k", folder, "-c", "listen_addresses="],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        cwd=folder,
        **options,  # type: ignore[call-overload]
    )
    try:
        _wait(there, folder)
        yield f"postgresql://fitup@/postgres?host={folder}"
    finally:
        server.send_signal(signal.SIGQUIT)  # at once: nobody needs what is in it
        try:
            server.wait(10)
        except subprocess.TimeoutExpired:
            server.kill()
            server.wait()
        shutil.rmtree(folder, ignore_errors=True)


def _server_user() -> int | None:
    """The server refuses to run as root: another user's number then."""
    if os.getuid() != 0:
        return None
    for name in ("postgres", "nobody"):
        try:
            return pwd.getpwnam(name).pw_uid
        except KeyError:
            continue
    return None


def _wait(there: Path, folder: Path) -> None:
    for _ in range(300):
        asked = subprocess.run([there / "pg_isready", "-q", "-h", folder, "-U", "fitup"], check=False)
        if asked.returncode == 0:
            return
        time.sleep(0.1)
    raise TimeoutError("PostgreSQL did not start")
