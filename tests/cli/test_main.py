"""The whole `rehab` command: help that holds, examples that work, errors said once."""

import inspect
import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from rehab import __version__
from rehab.cli.main import NOUNS, rehab
from rehab.table_files import BUILT_IN
from tests.conftest import Clinic

# In the order in which a clinic would run them, so that each finds what the one before recorded.
STORY = (
    "init", "import template", "child import",
    "child add", "child list", "child show", "surgery add", "exam add",
    "contact add", "contact list", "contact change", "contact limits", "contact agree",
    "contact log",
    "prescription add", "prescription list", "contact remove", "child change",
    "plan show", "plan why", "plan refresh", "plan forecast",
    "occlusion propose", "occlusion decline", "occlusion accept", "occlusion change", "wear add",
    "wear import", "wear show", "occlusion pause", "occlusion show",
    "record history", "appointment book", "appointment move", "appointment settle",
    "appointment outcome", "recall list",
    "booking propose", "booking accept",
    "calendar export",
    "calendar session", "calendar feed",
    "reminder write", "reminder list", "reminder send",
    "letter write", "letter log", "letter languages", "letter reviewed", "occlusion stop",
    "report attendance", "report correction", "report windows", "report no-date", "report loss",
    "report all",
    "record withdraw", "child end", "diary site add", "diary session add", "diary extra",
    "diary holidays copy", "diary holidays add", "diary holidays list", "diary close", "diary show",
    "diary list", "diary open-again", "diary site change", "diary session change",
    "diary holidays remove", "diary history", "diary remove",
    "measure acuity", "measure vertex", "measure contact-lens",
    "measure near", "measure target", "measure pressure", "measure cornea", "measure axial-length",
    "measure growth",
    "protocol list", "protocol show", "protocol check", "protocol ask", "demo",
)  # fmt: skip

# Their examples need a server or a message that failed, and are tried in tests of their own.
ELSEWHERE = {"calendar publish", "reminder settle", "letter again"}

LATER = {
    "appointment settle": " --today 2026-05-12",
    "appointment outcome": " --today 2026-05-12",
    "child end": " --today 2026-09-01",
    "demo": " --today 2026-11-23",
}


def _commands(command: click.Command, path: str = "") -> Iterator[tuple[str, click.Command]]:
    """Every command that does something, by the words that call it."""
    if not isinstance(command, click.Group):
        yield path, command
        return
    for name in command.list_commands(click.Context(command)):
        below = command.get_command(click.Context(command), name)
        assert below is not None
        yield from _commands(below, f"{path} {name}".strip())


def _example(command: click.Command) -> str:
    """The example of a command's help, as one line without the word `rehab`."""
    text = inspect.cleandoc(command.help or "")
    found = re.findall(r"^Example: rehab (.+(?:\n.+)*)", text, re.MULTILINE)
    assert len(found) == 1, f"{command.name} has {len(found)} examples"
    return " ".join(found[0].split())


COMMANDS = dict(_commands(rehab))


def test_every_command_says_what_it_does() -> None:
    assert all(command.get_short_help_str() for command in COMMANDS.values())


def test_the_line_of_each_noun_is_its_own_help() -> None:
    for noun, (_, line) in NOUNS.items():
        command = rehab.get_command(click.Context(rehab), noun)
        assert command is not None
        if isinstance(command, click.Group):
            assert command.help == line, noun


def test_the_examples_of_all_commands_work_one_after_the_other(
    clinic: Clinic, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert set(STORY) == COMMANDS.keys() - ELSEWHERE
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("REHAB_FEED_SECRET", "brass lantern, ninety-one geese")
    shutil.copy(BUILT_IN / "refraction.toml", clinic.home / "tables")
    Path("children.csv").write_text("number,name,born\nK-031,Oro N,2026-01-05\n")
    Path("wear.csv").write_text("date,minutes,written_on\n2026-04-22,90,2026-04-22\n")
    for path in STORY:
        line = _example(COMMANDS[path])
        assert line.removeprefix("--home clinic ").startswith(path), line
        clinic.say(line.removeprefix("--home clinic ") + LATER.get(path, ""))


def test_the_version_is_told() -> None:
    result = CliRunner().invoke(rehab, ["--version"], prog_name="rehab")
    assert result.stdout == f"rehab {__version__}\n"


def test_help_lists_every_noun_with_what_it_is_for() -> None:
    shown = CliRunner().invoke(rehab, ["--help"], prog_name="rehab").stdout
    for noun, (_, line) in NOUNS.items():
        assert re.search(rf"^  {noun} +{re.escape(line)}$", shown, re.MULTILINE), noun


def test_a_noun_that_does_not_exist_is_a_misuse(clinic: Clinic) -> None:
    assert "No such command 'chart'" in clinic.misuse("chart")
    assert "No such command 'remove'" in clinic.misuse("child remove K-017")
