"""What a clinic installs is whole: built, installed apart from this tree, and put to work."""

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PLACES = {
    "rehab": "rehab",
    "migrations": "rehab/_migrations",
    "templates": "rehab/_templates",
    "demo_data": "rehab/_demo_data",
}


def _run(*words: str | Path, cwd: Path, **environ: str) -> str:
    done = subprocess.run(
        [str(word) for word in words],
        cwd=cwd,
        env=os.environ | environ,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("wheel")
    command = ("-m", "build", "--wheel", "--no-isolation", "--outdir", out)
    _run(sys.executable, *command, ROOT, cwd=out)
    (built,) = out.glob("*.whl")
    return built


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder that holds the installed program alone; its libraries are those of the tests."""
    target = tmp_path_factory.mktemp("installed")
    command = ("-m", "pip", "install", "--no-deps", "--no-index", "--target", target)
    _run(sys.executable, *command, wheel, cwd=target)
    return target


def test_every_file_of_the_program_is_in_the_wheel(wheel: Path) -> None:
    packed = set(zipfile.ZipFile(wheel).namelist())
    for folder, place in PLACES.items():
        files = {
            f"{place}/{path.relative_to(ROOT / folder).as_posix()}"
            for path in (ROOT / folder).rglob("*")
            if path.is_file() and "__pycache__" not in path.parts
        }
        assert files, folder
        assert files <= packed, files - packed
    assert not [name for name in packed if name.startswith(("tests", "rehab/tests"))]


def test_the_installed_program_runs_the_demonstration_from_any_folder(
    installed: Path, tmp_path: Path
) -> None:
    where = "import rehab; print(rehab.__file__)"
    found = _run(sys.executable, "-c", where, cwd=tmp_path, PYTHONPATH=str(installed))
    assert Path(found.strip()) == installed / "rehab" / "__init__.py"
    rehab = installed / "bin" / "rehab"
    said = _run(rehab, "demo", "--out", "demo", cwd=tmp_path, PYTHONPATH=str(installed))
    assert "Open demo/start-here.html" in said.splitlines()
    assert (tmp_path / "demo" / "start-here.html").stat().st_size
    assert (tmp_path / "demo" / "recall.csv").stat().st_size
    letters = {path.stem for path in (tmp_path / "demo" / "letters").glob("*.html")}
    calendars = {path.stem for path in (tmp_path / "demo" / "calendars").glob("*.ics")}
    assert letters
    assert letters == calendars
    clinic = ("--home", "demo/clinic")
    told = _run(rehab, *clinic, "protocol", "check", cwd=tmp_path, PYTHONPATH=str(installed))
    assert "decisions are whole" in told
