"""The laws of the house: who may import what, who reads the clock, how long things may be."""

import ast
import subprocess
import sys
from collections.abc import Iterator
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
FILES = {
    ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__"): path
    for folder in ("rehab", "migrations", "tests")
    for path in sorted((ROOT / folder).rglob("*.py"))
}
TREES = {name: ast.parse(path.read_text(encoding="utf-8")) for name, path in FILES.items()}
PROGRAM = {name: tree for name, tree in TREES.items() if name.startswith("rehab")}
PURE_ROOMS = ("rehab.measures", "rehab.rules", "rehab.care")
PURE = {name: tree for name, tree in PROGRAM.items() if name.startswith(PURE_ROOMS)}
OUTSIDE_WORLD = {
    "asyncio", "ctypes", "glob", "importlib", "io", "logging", "multiprocessing", "os", "pathlib",
    "platform", "random", "secrets", "shutil", "socket", "sqlite3", "subprocess", "sys", "tempfile",
    "threading", "time", "tomllib", "urllib", "uuid",
}  # fmt: skip
CLOCK = {"today", "now", "utcnow", "localtime", "gmtime", "monotonic", "perf_counter", "time_ns"}
FILES_AND_WORLD = {"open", "input", "print", "exec", "eval", "__import__"}
HOMES = {
    "sqlalchemy": ("rehab.store",),
    "alembic": ("rehab.store",),
    "icalendar": ("rehab.calendars", "rehab.clinic_calendars", "rehab.held_events"),
    "jinja2": ("rehab.letters",),
    "babel": ("rehab.letters",),
    "markupsafe": ("rehab.letters",),
    "segno": ("rehab.letters.qr_code",),
    "typst": ("rehab.letters.pdf_page",),
    "caldav": ("rehab.calendar_server",),
    "click": ("rehab.cli",),
    "dateutil": ("rehab.session_dates",),
    "highspy": ("rehab.placement",),
    "holidays": ("rehab.holiday_lists",),
    "psycopg": ("rehab.store",),
    "python_calamine": ("rehab.sheets",),
    "smtplib": ("rehab.senders",),
    "xlsxwriter": ("rehab.sheets",),
    "tomllib": (
        "rehab.table_files",
        "rehab.settings",
        "rehab.case_files",
        "rehab.import_mapping",
    ),
}
READS_ENVIRONMENT = {"rehab.settings"}


def _imports(tree: ast.AST) -> Iterator[str]:
    """The full name of each module imported, also inside functions."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports name their room in full"
            module = node.module or ""
            yield module
            yield from (f"{module}.{alias.name}" for alias in node.names)


def _inside(name: str, rooms: tuple[str, ...]) -> bool:
    return any(name == room or name.startswith(f"{room}.") for room in rooms)


@pytest.mark.parametrize("name", PURE)
def test_a_pure_room_knows_only_the_standard_library_and_its_like(name: str) -> None:
    for imported in _imports(PURE[name]):
        top = imported.partition(".")[0]
        if top == "rehab":
            assert imported == "rehab" or _inside(imported, (*PURE_ROOMS, "rehab.errors")), imported
        else:
            assert top in sys.stdlib_module_names - OUTSIDE_WORLD, imported


@pytest.mark.parametrize("name", PURE)
def test_a_pure_room_reads_no_file_and_runs_nothing(name: str) -> None:
    called = {node.id for node in ast.walk(PURE[name]) if isinstance(node, ast.Name)}
    assert not called & FILES_AND_WORLD


@pytest.mark.parametrize("name", [n for n in PROGRAM if not _inside(n, ("rehab.cli",))])
def test_only_the_commands_read_the_clock(name: str) -> None:
    read = {
        f"{ast.unparse(node)} on line {node.lineno}"
        for node in ast.walk(PROGRAM[name])
        if isinstance(node, ast.Attribute)
        and node.attr in CLOCK
        and ast.unparse(node.value)
        in ("date", "datetime", "time", "datetime.date", "datetime.datetime")
    }
    assert not read
    assert "time" not in {i.partition(".")[0] for i in _imports(PROGRAM[name])}


@pytest.mark.parametrize("name", PROGRAM)
def test_nothing_is_left_to_chance_and_each_library_has_one_home(name: str) -> None:
    imported = {i.partition(".")[0] for i in _imports(PROGRAM[name])}
    assert not imported & {"random", "secrets", "uuid"}
    for library, homes in HOMES.items():
        assert library not in imported or _inside(name, homes), library
    reads = {ast.unparse(n) for n in ast.walk(PROGRAM[name]) if isinstance(n, ast.Attribute)}
    assert not reads & {"os.environ", "os.getenv"} or name in READS_ENVIRONMENT


def test_no_import_goes_round_in_a_circle() -> None:
    graph = {
        name: {other for other in set(_imports(tree)) & PROGRAM.keys() if other != name}
        for name, tree in PROGRAM.items()
    }
    assert list(TopologicalSorter(graph).static_order())


def test_every_module_imports_alone() -> None:
    # Where no import goes round in a circle and each is `from` the module that has the name, what
    # was imported before cannot matter: one pass stands for one fresh start for each module.
    for name, tree in PROGRAM.items():
        plain = {a.name for n in ast.walk(tree) if isinstance(n, ast.Import) for a in n.names}
        assert not {other for other in plain if _inside(other, ("rehab",))}, name
    program = f"import importlib\nfor name in {sorted(PROGRAM)!r}: importlib.import_module(name)"
    done = subprocess.run(
        [sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


@pytest.mark.parametrize("name", TREES)
def test_no_file_is_long_and_no_function_asks_for_much(name: str) -> None:
    text = FILES[name].read_text(encoding="utf-8")
    assert text.count("\n") <= 400
    for node in ast.walk(TREES[name]):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda):
            asked = node.args
            parameters = [
                *asked.posonlyargs, *asked.args, *asked.kwonlyargs,
                *filter(None, (asked.vararg, asked.kwarg)),
            ]  # fmt: skip
            assert len(parameters) <= 7, f"line {node.lineno}"
