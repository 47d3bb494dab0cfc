"""A PostgreSQL server of the tests' own, where its programs are installed.

One server serves all processes that run tests side by side. It listens on a socket in a folder of
its own and on no port. Each process holds a lock on a file while it may need the server; a guard,
which the first one starts, waits for that lock and then stops the server, so that it ends however
the tests end.

    postgresql.py guard FOLDER
"""

from __future__ import annotations

import contextlib
import fcntl
import os
import pwd
import shutil
import subprocess
import sys
import tempfile
import uuid
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

USER = "fulfil"
GUARDED = "guarded"
"""the one user who would need a password"""
SETTINGS = {"listen_addresses": "''", "fsync": "off", "full_page_writes": "off"}


def programs() -> Path | None:
    """The folder with `initdb` and `pg_ctl`, of the newest version there is."""
    found = [Path(name) for name in [shutil.which("initdb") or ""] if name]
    debian = Path("/usr/lib/postgresql").glob("*/bin/initdb")
    found += sorted(debian, key=lambda path: float(path.parts[-3]), reverse=True)
    whole = [path.resolve().parent for path in found if (path.resolve().parent / "pg_ctl").exists()]
    return whole[0] if whole else None


def _somebody() -> dict[str, Any]:
    """Who is to run the server: never root, which it refuses."""
    if os.geteuid() != 0:
        return {}
    names = {entry.pw_name for entry in pwd.getpwall()}
    entry = pwd.getpwnam("postgres" if "postgres" in names else "nobody")
    return {"user": entry.pw_uid, "group": entry.pw_gid, "extra_groups": []}


def _run(program: str, *words: str) -> None:
    bin_folder = programs()
    assert bin_folder is not None
    ran = subprocess.run(
        [str(bin_folder / program), *words],
        cwd="/",
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=False,
        timeout=60,
        **_somebody(),
    )
    assert ran.returncode == 0, ran.stdout


def _start(folder: Path) -> None:
    """Makes a cluster in a folder whose path is short, as that of a socket has to be."""
    if somebody := _somebody():
        os.chown(folder, somebody["user"], somebody["group"])
    folder.chmod(0o755)  # whoever runs a test may reach the socket
    trust = ["--auth", "trust", "--username", USER]
    _run("initdb", "-D", f"{folder}/data", *trust, "-E", "UTF8", "--locale=C.UTF-8", "--no-sync")
    rules = f"local all {GUARDED} scram-sha-256\nlocal all all trust\n"
    (folder / "data" / "pg_hba.conf").write_text(rules, encoding="utf-8")
    told = " ".join(f"-c {name}={value}" for name, value in SETTINGS.items())
    # The log is a file of its own: a server that kept our output open would never let go of it.
    _run("pg_ctl", "-w", "-D", f"{folder}/data", "-l", f"{folder}/log", "-o", f"{told} -k {folder}",
         "start")  # fmt: skip


class Server:
    """A server that runs, and databases in it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def url(self, database: str, user: str = USER) -> str:
        return f"postgresql://{user}@/{database}?host={self.folder}"

    def do(self, statement: str, database: str = "postgres") -> list[Any]:
        """Runs a statement outside of any transaction of the store, and answers with its rows."""
        import psycopg

        with psycopg.connect(self.url(database), autocommit=True) as connection:
            done = connection.execute(statement.encode())
            return done.fetchall() if done.description else []

    @contextlib.contextmanager
    def database(self, template: str = "template0") -> Iterator[str]:
        """A new database that is gone afterwards; its name."""
        name = f"t{uuid.uuid4().hex}"
        self.do(f"CREATE DATABASE {name} TEMPLATE {template}")
        try:
            yield name
        finally:
            self.do(f"DROP DATABASE {name} WITH (FORCE)")


@contextlib.contextmanager
def shared_server(shared: Path) -> Iterator[Server]:
    """The server of all test processes that share a folder; started by the first of them."""
    shared.mkdir(exist_ok=True)
    with (
        (shared / "starting").open("w") as starting,
        (shared / "users").open("w") as users,
    ):
        fcntl.flock(starting, fcntl.LOCK_EX)
        fcntl.flock(users, fcntl.LOCK_SH)  # waits while a guard is stopping the last server
        place = shared / "place"
        if not place.exists():
            folder = Path(tempfile.mkdtemp(prefix="pg"))
            try:
                _start(folder)
                server = Server(folder)
                server.do("CREATE DATABASE empty")
                server.do(f"CREATE ROLE {GUARDED} LOGIN PASSWORD 'right'")
                server.do("CREATE ROLE reader LOGIN")
                _make_tables(server.url("empty"))
            except BaseException:
                _stop(folder)
                raise
            place.write_text(str(folder), encoding="utf-8")
            subprocess.run([sys.executable, __file__, "guard", str(shared)], check=True)
        fcntl.flock(starting, fcntl.LOCK_UN)
        yield Server(Path(place.read_text(encoding="utf-8")))


def _make_tables(url: str) -> None:
    from fulfil.store import open_store

    open_store(url).close()


def _stop(folder: Path) -> None:
    with contextlib.suppress(AssertionError):  # it may not have started
        _run("pg_ctl", "-D", f"{folder}/data", "-m", "immediate", "stop")
    shutil.rmtree(folder)


def _guard(shared: Path) -> None:
    """Goes on by itself, in the background, and stops the server when nobody needs it."""
    if os.fork():
        os._exit(0)
    os.setsid()  # Ctrl-C at the terminal is for the tests
    place = shared / "place"
    folder = Path(place.read_text(encoding="utf-8"))
    with (shared / "users").open("w") as users:
        fcntl.flock(users, fcntl.LOCK_EX)
        place.unlink(missing_ok=True)
        _stop(folder)


def server_or_skip(shared: Path) -> Iterator[Server]:
    """For a fixture: the server, or a skipped test that says why."""
    pytest.importorskip("psycopg", reason="the driver psycopg is not installed")
    if programs() is None:
        pytest.skip("PostgreSQL is not installed here")
    with shared_server(shared) as server:
        yield server


if __name__ == "__main__":
    _guard(Path(sys.argv[2]))
