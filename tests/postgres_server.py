"""A PostgreSQL server of the tests' own: from the system's package, in a folder of its own, on a socket in it."""

from __future__ import annotations

import contextlib
import importlib.util
import os
import pwd
import shutil
import subprocess
import tempfile
from pathlib import Path
from urllib.parse import quote

SUPERUSER = "gainladder"


def binaries() -> Path | None:
    """The folder of the newest server's programs; None where none is installed."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: int(path.parts[-3].split(".")[0]))
    on_path = shutil.which("initdb")
    return found[-1].parent if found else Path(on_path).resolve().parent if on_path else None


def missing() -> str:
    """Why there can be no server here; empty when there can."""
    if importlib.util.find_spec("psycopg") is None:
        return "psycopg is not installed: pip install 'gainladder[postgres]'"
    if binaries() is None:
        return "no PostgreSQL server is installed here: apt-get install postgresql"
    return ""


def _memory() -> str | None:
    """A folder in memory where there is room; a server makes a thousand files that nobody keeps."""
    memory = "/dev/shm"
    roomy = os.access(memory, os.W_OK) and shutil.disk_usage(memory).free > 2**30
    return memory if roomy else None


class PostgresServer:
    """Start, stop, kill, start again; what was committed stays. As an ordinary user, for it refuses the superuser."""

    def __init__(self, *, connections: int = 20) -> None:
        self._connections = connections
        self.folder = Path(tempfile.mkdtemp(prefix="pg-", dir=_memory()))
        self._data = self.folder / "data"
        self._user = "nobody" if os.geteuid() == 0 else None
        if self._user:
            os.chown(self.folder, pwd.getpwnam(self._user).pw_uid, -1)
        # Without syncing: the tests kill processes, not the machine.
        self._run("initdb", "-D", self._data, "-U", SUPERUSER, "-A", "trust", "-E", "UTF8", "--no-sync", "--locale=C")

    def start(self) -> None:
        log = self.folder / "log"
        most = f"-c max_connections={self._connections} -c shared_buffers=8MB"
        options = f"-k {self.folder} -c listen_addresses='' -F {most}"
        self._run("pg_ctl", "start", "-w", "-s", "-D", self._data, "-l", log, "-o", options)

    def stop(self, mode: str = "immediate") -> None:
        """Stop as one that dies at once (immediate) or one that is asked to (fast)."""
        self._run("pg_ctl", "stop", "-w", "-s", "-D", self._data, "-m", mode)

    def remove(self) -> None:
        with contextlib.suppress(subprocess.CalledProcessError):
            self.stop()
        shutil.rmtree(self.folder)

    def url(self, schema: str = "", database: str = "postgres") -> str:
        """The address of a schema, which stands for a database of its own and costs less."""
        search = f"&options=-csearch_path%3D{schema}" if schema else ""
        return f"postgresql://{SUPERUSER}@/{database}?host={quote(str(self.folder))}{search}"

    def sql(self, *statements: str, database: str = "postgres") -> list[list[tuple[object, ...]]]:
        """By the bare driver, which knows nothing of us."""
        import psycopg

        with psycopg.connect(host=str(self.folder), user=SUPERUSER, dbname=database, autocommit=True) as connection:
            cursors = [connection.execute(statement) for statement in statements]
            return [cursor.fetchall() if cursor.description else [] for cursor in cursors]

    def _run(self, program: str, *arguments: object) -> None:
        place = binaries()
        assert place is not None
        words = [str(place / program), *map(str, arguments)]
        subprocess.run(words, check=True, user=self._user, cwd="/", stdout=subprocess.DEVNULL)
