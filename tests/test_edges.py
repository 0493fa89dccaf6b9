"""Odd files, odd streams and odd days at the edges of the program: each a message, no surprise."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from rehab.errors import RehabError, SettingsError, TableError
from rehab.settings import read_clinic
from rehab.table_files import BUILT_IN, read_protocol
from rehab.whole_files import write_whole
from tests.conftest import Clinic


def test_a_table_that_would_be_passed_over_in_silence_is_refused(tmp_path: Path) -> None:
    (tmp_path / "refraction.TOML").write_bytes((BUILT_IN / "refraction.toml").read_bytes())
    with pytest.raises(TableError, match=r"refraction\.TOML is not a table file"):
        read_protocol(tmp_path)


def test_a_tables_folder_that_is_a_file_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "tables"
    path.write_text("")
    with pytest.raises(TableError, match="tables cannot be read"):
        read_protocol(path)


def test_a_folder_named_like_a_table_is_refused(tmp_path: Path) -> None:
    (tmp_path / "refraction.toml").mkdir()
    with pytest.raises(TableError, match="is not a table file"):
        read_protocol(tmp_path)


def test_a_table_written_with_a_byte_order_mark_is_read(tmp_path: Path) -> None:
    mark = b"\xef\xbb\xbf"
    (tmp_path / "refraction.toml").write_bytes(mark + (BUILT_IN / "refraction.toml").read_bytes())
    assert "refraction" in read_protocol(tmp_path).editions


def test_a_clinic_file_that_is_a_folder_is_refused(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match="clinic file cannot be read"):
        read_clinic(tmp_path)


def test_a_clinic_file_with_a_byte_order_mark_is_read(tmp_path: Path) -> None:
    path = tmp_path / "clinic.toml"
    path.write_bytes(b'\xef\xbb\xbfname = "Harbour"')
    assert read_clinic(path).name == "Harbour"


@pytest.mark.parametrize("day", ["9999-12-31", "0206-02-11"])
def test_a_day_outside_the_lives_of_children_is_a_slip(asel: Clinic, day: str) -> None:
    assert "is not in the years 1900 to 2199" in asel.misuse(f"plan show K-017 --today {day}")


def test_a_device_is_not_replaced_by_a_file(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    with pytest.raises(RehabError, match="no ordinary file"):
        write_whole(pipe, b"x")
    assert pipe.is_fifo()


def test_a_link_leads_to_its_file_and_stays(tmp_path: Path) -> None:
    real, link = tmp_path / "real", tmp_path / "link"
    real.write_bytes(b"old")
    link.symlink_to(real)
    write_whole(link, b"new")
    assert link.is_symlink()
    assert real.read_bytes() == b"new"


def test_a_name_that_the_stream_cannot_show_is_shown_in_another_way(asel: Clinic) -> None:
    asel.say("child add K-018 --name 'Жанна' --born 2026-01-05")
    line = [sys.executable, "-c", "from rehab.cli.main import rehab; rehab()"]
    shown = subprocess.run(
        [*line, "--home", str(asel.home), "child", "list"],
        env={**os.environ, "PYTHONIOENCODING": "cp1252"},
        cwd=Path(__file__).parents[1],
        capture_output=True,
        check=True,
    )
    assert b"K-018" in shown.stdout
    assert shown.stderr == b""
