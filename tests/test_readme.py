"""The README holds: its commands run, and what it says they print is what they print."""

import json
import re
import shlex
from pathlib import Path

import pytest
from click.testing import CliRunner
from freezegun import freeze_time

from rehab.cli.main import rehab

README = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")
FENCED = re.findall(r"^```\w*\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)
COMMANDS = [
    line.partition("rehab ")[2]
    for block in FENCED
    if "REHAB_HOME" not in block
    for line in block.splitlines()
    if line.startswith("rehab ")
]


def _block(marker: str) -> str:
    """The fenced block that follows a comment such as <!-- demo output -->."""
    found = re.search(
        rf"<!-- {re.escape(marker)} -->\n+```\w*\n(.*?)^```$", README, re.MULTILINE | re.DOTALL
    )
    assert found, f"README has no block marked {marker}"
    return found[1]


def _print_of(line: str) -> str:
    result = CliRunner().invoke(rehab, shlex.split(line), prog_name="rehab")
    assert (result.exit_code, result.stderr) == (0, ""), (line, result.output, result.exception)
    return result.stdout


def test_the_commands_run_one_after_the_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert COMMANDS
    # Frozen, since a reader types most of them on the day and so leaves out --today.
    with freeze_time("2026-06-01"):
        for line in COMMANDS:
            _print_of(line)


def test_a_week_at_the_coordinators_desk_leaves_no_loop_open(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    demo, export, *week = (
        line for line in _block("week").splitlines() if line[:1] not in ("", "#")
    )
    _print_of(demo.removeprefix("rehab "))
    for setting in shlex.split(export)[1:]:
        name, _, value = setting.partition("=")
        monkeypatch.setenv(name, value)
    printed = {line: _print_of(line.removeprefix("rehab ")) for line in week}
    assert [said for line, said in printed.items() if "--write" in line] == [
        "3 new, 0 adds, 0 unchanged, 0 cannot be taken. Written.\n"
    ]
    booked = [said.splitlines()[0] for line, said in printed.items() if "accept" in line]
    assert all(re.fullmatch(r"Booked ([1-9]\d*) of \1 visits\.", said) for said in booked), booked
    assert len(booked) == 2
    friday = json.loads(_print_of("recall list --json --today 2026-11-27"))
    open_loops = {"was not brought", "tracing step due", "new date not told"}
    not_brought = {"K-131", "K-115"}
    told = {(line["child"], reason["kind"]) for line in friday for reason in line["reasons"]}
    assert {(number, kind) for number, kind in told if number in not_brought} & {
        (number, kind) for number in not_brought for kind in open_loops
    } == set()
    assert sorted(path.name for path in (tmp_path / "november").glob("*.svg"))
    assert len(list((tmp_path / "outbox").glob("*.ics"))) == 6


def test_the_demonstration_prints_what_the_readme_shows(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert _print_of("demo --out demo") == _block("demo output")


def test_the_counts_of_what_the_plan_rests_on_are_those_of_the_tables(tmp_path: Path) -> None:
    assert _print_of(f"--home '{tmp_path}' protocol check") == _block("provenance")
