"""A PostgreSQL server for the tests: started beside them and ended with them, or one that is given.

It speaks through a socket in a folder of its own and on no network, and keeps nothing. Its language
orders words unlike the program does, so that an order left to the server shows.
"""

import os
import pwd
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import psycopg
import pytest
from psycopg import sql
from sqlalchemy.engine import URL, make_url

from rehab.store.schema import metadata

GIVEN = os.environ.get("REHAB_TEST_POSTGRES", "")
REQUIRED = bool(os.environ.get("REHAB_TEST_POSTGRES_REQUIRED"))
OWNER = "rehab"
# A name that no other run of the tests on the same server takes.
PREFIX = f"rehab_test_{os.getpid()}_"
SECONDS_TO_START = 30
QUICK = ("fsync=off", "full_page_writes=off", "synchronous_commit=off", "autovacuum=off")
TABLES = [table.name for table in metadata.sorted_tables]
# Who must say a password here, so that a wrong one can be tried.
ACCESS = "local all guest scram-sha-256\nlocal all all trust\n"


@dataclass(slots=True)
class Server:
    """Databases on one server, each without tables."""

    address: URL
    made: list[str] = field(default_factory=list)

    def create(self) -> str:
        """The address of a new database."""
        name = f"{PREFIX}{len(self.made)}"
        self.made.append(name)
        self.say("CREATE DATABASE {} TEMPLATE template0 ENCODING 'UTF8'", name)
        return self.address.set(database=name).render_as_string(hide_password=False)

    def drop(self, address: str) -> None:
        self.say("DROP DATABASE {} WITH (FORCE)", str(make_url(address).database))

    def say(self, statement: str, *names: str) -> list[tuple[Any, ...]]:
        """Runs a statement on the server, its {} replaced by names."""
        with closing(_connect(self.address)) as connection:
            text = sql.SQL(statement).format(*map(sql.Identifier, names))
            done = connection.execute(text)
            return done.fetchall() if done.description else []


@dataclass(frozen=True, slots=True)
class Refilled:
    """One database for many tests, since making one for each would take most of their time."""

    address: str

    def keep(self, name: str) -> None:
        """Remembers what the tables hold now."""
        copies = (f"CREATE TABLE {name}.{table} AS TABLE {table}" for table in TABLES)
        self._run(f"CREATE SCHEMA {name}", *copies)

    def fill(self, name: str) -> str:
        """Lets the tables hold what was remembered; returns the address."""
        emptied = (f"DELETE FROM {table}" for table in reversed(TABLES))
        filled = (f"INSERT INTO {table} TABLE {name}.{table}" for table in TABLES)
        self._run("SET lock_timeout = '5s'", *emptied, *filled)
        return self.address

    def _run(self, *statements: str) -> None:
        with closing(_connect(make_url(self.address))) as connection:
            connection.execute(";".join(statements).encode())


def _connect(address: URL) -> psycopg.Connection[Any]:
    return psycopg.connect(
        address.set(drivername="postgresql").render_as_string(hide_password=False), autocommit=True
    )


@contextmanager
def running_server(settings: tuple[str, ...] = QUICK) -> Iterator[Server]:
    """A server to test on; without one the test is skipped, or fails where one is required."""
    if GIVEN:
        given = Server(make_url(GIVEN))
        yield given
        for name in given.made:
            given.say("DROP DATABASE IF EXISTS {} WITH (FORCE)", name)
        return
    programs = _programs()
    if programs is None:
        say = pytest.fail if REQUIRED else pytest.skip
        say("PostgreSQL is not on this machine: apt-get install postgresql")
    folder = Path(tempfile.mkdtemp(prefix="rehab-pg-"))
    try:
        with _started(programs, folder, settings) as server:
            yield server
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _programs() -> Path | None:
    """The folder of `initdb` and `postgres`, which Debian keeps out of the path."""
    found = shutil.which("initdb")
    if found:
        return Path(found).resolve().parent
    debian = Path("/usr/lib/postgresql").glob("*/bin/initdb")
    newest = max(debian, key=lambda path: float(path.parts[-3]), default=None)
    return newest.parent if newest else None


@contextmanager
def _started(programs: Path, folder: Path, more: tuple[str, ...]) -> Iterator[Server]:
    data = folder / "data"
    given = {**_unprivileged(folder), "cwd": folder, "env": {"PATH": "/usr/bin:/bin", "TZ": "UTC"}}
    made = subprocess.run(
        [
            programs / "initdb", "-D", data, "-U", OWNER, "--auth=trust", "--no-sync",
            "--encoding=UTF8", "--locale=C.UTF-8", *_language(programs),
        ],
        check=False, capture_output=True, text=True, **given,
    )  # fmt: skip
    assert made.returncode == 0, made.stderr
    (data / "pg_hba.conf").write_text(ACCESS)
    settings = ("listen_addresses=", f"unix_socket_directories={folder}", *more)
    with (folder / "log").open("w") as log:
        process = subprocess.Popen(
            [programs / "postgres", "-D", data, *(w for s in settings for w in ("-c", s))],
            stdin=subprocess.DEVNULL, stdout=log, stderr=log, **given,
        )  # fmt: skip
    try:
        address = URL.create("postgresql", OWNER, database="postgres", query={"host": str(folder)})
        _wait_for(address, process, folder / "log")
        yield Server(address)
    finally:
        process.terminate()
        try:
            process.wait(2)
        except subprocess.TimeoutExpired:
            # A session is still open: SIGQUIT ends the server with all its sessions.
            process.send_signal(signal.SIGQUIT)
            process.wait(10)


def _unprivileged(folder: Path) -> dict[str, Any]:
    """PostgreSQL refuses to run as root, so that root must lend the folder to someone else."""
    if os.getuid() != 0:
        return {}
    names = {entry.pw_name for entry in pwd.getpwall()}
    who = pwd.getpwnam("postgres" if "postgres" in names else "nobody")
    os.chown(folder, who.pw_uid, who.pw_gid)
    return {"user": who.pw_uid, "group": who.pw_gid, "extra_groups": []}


def _language(programs: Path) -> tuple[str, ...]:
    said = subprocess.run([programs / "initdb", "--help"], capture_output=True, text=True)
    known = "--icu-locale" in said.stdout
    return ("--locale-provider=icu", "--icu-locale=en") if known else ()


def _wait_for(address: URL, process: subprocess.Popen[Any], log: Path) -> None:
    for _ in range(SECONDS_TO_START * 50):
        try:
            _connect(address).close()
        except psycopg.OperationalError:
            assert process.poll() is None, log.read_text()
            time.sleep(0.02)
        else:
            return
    pytest.fail(f"PostgreSQL did not start: {log.read_text()}")
