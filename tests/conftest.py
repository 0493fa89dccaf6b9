"""A clinic's folder for each test, and its commands run as a person would type them."""

import os
import shlex
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import click
import pytest
from click.testing import CliRunner, Result

from rehab.cli.main import rehab
from rehab.settings import read_settings
from rehab.store.store import Version, create_or_upgrade, open_store
from tests.calendar_servers import CalDav, caldav_server
from tests.postgres import Refilled, Server, running_server

# Tests must never write into the database of the clinic on whose machine they run.
os.environ.pop("REHAB_DATABASE_URL", None)
EVERYTHING_ON_BOTH = bool(os.environ.get("REHAB_TEST_BOTH"))

TODAY = "2026-04-20"
WHO = "M. Okoro"
CLINIC_TOML = """
name = "Harbour Eye Clinic"
phone = "+00 555 0100"
emergency_phone = "000"
closed = [2026-12-25]
"""


@dataclass(frozen=True)
class Clinic:
    """A clinic at work; every command is run by `WHO` on `TODAY` unless its line says otherwise."""

    home: Path

    @property
    def database_url(self) -> str:
        return read_settings(self.home).database_url

    def run(self, line: str) -> Result:
        """The command `line`, such as "child list", and what came of it."""
        words = shlex.split(line)
        known = _parameters_of(words)
        given = {"today": ["--today", TODAY], "who": ["--who", WHO]}
        for name, option in given.items():
            if name in known and option[0] not in words:
                words += option
        return CliRunner().invoke(rehab, ["--home", str(self.home), *words], prog_name="rehab")

    def say(self, line: str) -> str:
        """What the command prints; it must succeed and have nothing to complain of."""
        result = self.run(line)
        assert (result.exit_code, result.stderr) == (0, ""), result.output
        return result.stdout

    def refuse(self, line: str) -> str:
        """The one line with which the command is refused; it prints nothing else."""
        result = self.run(line)
        assert (result.exit_code, result.stdout) == (1, ""), result.output
        assert isinstance(result.exception, SystemExit)
        message = result.stderr.removeprefix("Error: ")
        assert message.count("\n") == 1, result.stderr
        return message.strip()

    def misuse(self, line: str) -> str:
        """The words with which a command line that cannot be understood is refused."""
        result = self.run(line)
        assert (result.exit_code, result.stdout) == (2, ""), result.output
        return result.stderr.partition("Error: ")[2].strip()

    def history(self, number: str) -> tuple[Version, ...]:
        store = open_store(self.database_url)
        try:
            return store.history(number)
        finally:
            store.close()


def _parameters_of(words: list[str]) -> set[str]:
    command: click.Command | None = rehab
    for word in words:
        if not isinstance(command, click.Group):
            break
        command = command.get_command(click.Context(command), word)
    return {str(p.name) for p in command.params} if command else set()


@pytest.fixture(scope="session")
def new_home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A clinic's folder as `rehab init` makes it, with the clinic's name and phone filled in."""
    home = tmp_path_factory.mktemp("new") / "clinic"
    result = CliRunner().invoke(rehab, ["--home", str(home), "init"])
    assert result.exit_code == 0, result.output
    (home / "clinic.toml").write_text(CLINIC_TOML, encoding="utf-8")
    return home


@pytest.fixture
def clinic(new_home: Path, tmp_path: Path, database: Callable[[str], None]) -> Clinic:
    """A clinic without children, so that every test writes its own story."""
    database("empty")
    return Clinic(shutil.copytree(new_home, tmp_path / "clinic"))


def _tell_of_asel(clinic: Clinic) -> None:
    clinic.say('child add K-017 --name "Asel T" --born 2026-02-11 --phone "+00 555 0117"')
    clinic.say(
        'surgery add K-017 --eye right --on 2026-03-30 --procedure "lens removal" '
        "--sutures absorbable"
    )
    clinic.say(
        "exam add K-017 --on 2026-04-06 --pressure right=14 --visual-axis right=clear "
        '--wears "right=contact lens" --cataract left=none'
    )


@pytest.fixture(scope="session")
def asel_home(new_home: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    clinic = Clinic(shutil.copytree(new_home, tmp_path_factory.mktemp("asel") / "clinic"))
    _tell_of_asel(clinic)
    return clinic.home


@pytest.fixture
def asel(asel_home: Path, tmp_path: Path, database: Callable[[str], None]) -> Clinic:
    """The clinic with K-017: right lens removed at seven weeks, seen a week later, lens worn."""
    database("asel")
    return Clinic(shutil.copytree(asel_home, tmp_path / "clinic"))


@pytest.fixture(scope="session")
def postgres() -> Iterator[Server]:
    """One PostgreSQL server for all tests of this process."""
    with running_server() as server:
        yield server


@pytest.fixture(scope="session")
def refilled(postgres: Server, new_home: Path) -> Refilled:
    """A database that can hold nothing yet, "empty", or what is told of K-017, "asel"."""
    database = Refilled(postgres.create())
    create_or_upgrade(database.address)
    database.keep("empty")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("REHAB_DATABASE_URL", database.address)
        _tell_of_asel(Clinic(new_home))
    database.keep("asel")
    return database


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line("markers", "both_databases: run on SQLite and on PostgreSQL")


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    if "kind_of_database" in metafunc.fixturenames:
        marked = metafunc.definition.get_closest_marker("both_databases")
        both = marked is not None or EVERYTHING_ON_BOTH
        kinds = ["sqlite", "postgresql"] if both else ["sqlite"]
        metafunc.parametrize("kind_of_database", kinds, ids=kinds if both else [""])


@pytest.fixture
def database(
    kind_of_database: str, request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch
) -> Callable[[str], None]:
    """Lets the commands of a test work on PostgreSQL, where it is due, with what it should hold."""

    def work_on(holding: str) -> None:
        if kind_of_database == "postgresql":
            shared: Refilled = request.getfixturevalue("refilled")
            monkeypatch.setenv("REHAB_DATABASE_URL", shared.fill(holding))

    return work_on


@pytest.fixture(scope="session")
def running_calendars(tmp_path_factory: pytest.TempPathFactory) -> Iterator[CalDav]:
    """One calendar server for all tests of this process."""
    with caldav_server(tmp_path_factory.mktemp("caldav")) as server:
        yield server


@pytest.fixture
def server(running_calendars: CalDav) -> CalDav:
    """A calendar server with an empty calendar."""
    for path in running_calendars.calendar.glob("*.ics"):
        path.unlink()
    running_calendars.asked, running_calendars.answer = [], None
    return running_calendars
