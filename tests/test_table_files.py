"""Table files: the built-in ones are whole, a clinic's replace them, mistakes are told apart."""

import os
import shutil
from collections import Counter
from pathlib import Path

import pytest

from rehab.errors import TableError
from rehab.rules.proof import ProvenTable, prove
from rehab.rules.protocol import provenance
from rehab.rules.table import ASSUMPTION
from rehab.table_files import BUILT_IN, read_folder, read_protocol, read_table

BAD = sorted((Path(__file__).parent / "bad_tables").glob("*.toml"))
TABLES = read_folder(BUILT_IN)
GOOD = """\
decision  = "visual_axis_check"
question  = "When is the visual axis looked at next?"
effective = 2024-07-01
verified  = { by = "A. Reader", on = 2026-01-05 }
change    = "Every second month."

[inputs]
days_since_surgery = { from = 0, below = 40000 }

[outputs]
every        = { from = 1, below = 366 }
unit         = ["days", "months"]
counted_from = ["start", "last", "birth"]

[sources.clinic-2024]
title     = "Minutes of the meeting of June 2024"
publisher = "Harbour Eye Clinic"
year      = 2024
doi       = "10.0000/made.up"
seen      = true

[[row]]
id     = "always"
then   = { every = 2, unit = "months", counted_from = "last" }
source = "clinic-2024"
at     = "item 3"
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A clinic's folder that replaces one decision."""
    (tmp_path / "axis.toml").write_text(GOOD, encoding="utf-8")
    return tmp_path


def refused(folder: Path, text: str) -> TableError:
    (folder / "axis.toml").write_text(text, encoding="utf-8")
    with pytest.raises(TableError) as caught:
        read_protocol(folder)
    return caught.value


@pytest.mark.parametrize("path", BAD, ids=lambda path: path.stem)
def test_a_mistake_is_refused_with_its_file_and_place(path: Path) -> None:
    says = path.read_bytes().partition(b"\n")[0].decode().removeprefix("# says: ")
    with pytest.raises(TableError) as caught:
        read_table(path)
    assert caught.value.where == path.name
    assert caught.value.what.startswith(says), caught.value.what
    assert caught.value.do.startswith("Correct the")


def test_no_two_bad_tables_make_the_same_mistake() -> None:
    assert max(Counter(path.read_bytes() for path in BAD).values()) == 1


def test_a_table_reads_as_it_is_written(folder: Path) -> None:
    table = read_table(folder / "axis.toml").table
    assert table.verified == "A. Reader on 2026-01-05"
    assert table.source("clinic-2024").citation == (
        "Minutes of the meeting of June 2024. Harbour Eye Clinic. 2024. doi 10.0000/made.up."
    )
    assert dict(table.rows[0].then) == {"every": 2, "unit": "months", "counted_from": "last"}


def test_the_digest_changes_with_every_character_of_the_file(folder: Path) -> None:
    before = read_table(folder / "axis.toml").table.digest
    (folder / "axis.toml").write_text(GOOD + "# a remark\n", encoding="utf-8")
    assert read_table(folder / "axis.toml").table.digest != before


def test_a_clinics_folder_replaces_a_decision_whole_and_leaves_the_others(folder: Path) -> None:
    built_in, own = read_protocol().editions, read_protocol(folder).editions
    assert [e.table.change for e in own["visual_axis_check"]] == ["Every second month."]
    assert own.keys() == built_in.keys()
    digests = {d: [e.table.digest for e in editions] for d, editions in own.items()}
    for decision, editions in built_in.items():
        same = digests[decision] == [e.table.digest for e in editions]
        assert same == (decision != "visual_axis_check")


def test_a_clinic_without_a_folder_of_tables_has_the_built_in_ones(tmp_path: Path) -> None:
    assert read_protocol(tmp_path / "none").editions.keys() == read_protocol().editions.keys()


def test_a_clinics_table_that_replaces_nothing_is_refused(folder: Path) -> None:
    error = refused(folder, GOOD.replace("visual_axis_check", "visual_axes_check"))
    assert str(error) == (
        "the clinic's visual_axes_check: it replaces no decision of this program. "
        f"The decisions are {', '.join(sorted(read_protocol().editions))}."
    )
    assert "visual_axis_check" in str(error), "the name that was meant"


def test_a_clinics_table_must_say_what_the_program_reads(folder: Path) -> None:
    renamed = GOOD.replace("every  ", "weeks  ").replace("every =", "weeks =")
    assert str(refused(folder, renamed)) == (
        "the clinic's visual_axis_check: its outputs are not those that the program reads. "
        "It must say every, unit, counted_from."
    )


@pytest.mark.parametrize(
    ("domain", "said", "unknown"),
    [('["days", "weeks"]', '"weeks"', "weeks"), ("{ from = 1, below = 3 }", "1", "1 to below 3")],
)
def test_a_clinics_table_may_say_only_words_that_the_program_knows(
    folder: Path, domain: str, said: str, unknown: str
) -> None:
    text = GOOD.replace('["days", "months"]', domain).replace('unit = "months"', f"unit = {said}")
    assert str(refused(folder, text)) == (
        f"the clinic's visual_axis_check: the program does not know {unknown} as unit. "
        "It may be days, months."
    )


def test_two_editions_of_one_decision_on_the_same_day_are_refused(folder: Path) -> None:
    shutil.copy(folder / "axis.toml", folder / "axis again.toml")
    error = refused(folder, GOOD)
    assert str(error) == (
        "visual_axis_check: two editions hold from 2024-07-01. "
        "Give the newer one a later effective date."
    )


@pytest.mark.parametrize("proven", TABLES, ids=lambda proven: proven.table.decision)
def test_a_built_in_table_is_whole_and_each_row_cites_its_place(proven: ProvenTable) -> None:
    assert prove(proven.table).row_of_cell == proven.row_of_cell
    assert set(proven.row_of_cell) == set(proven.cells())
    for row in proven.table.rows:
        assert proven.table.source(row.source).citation
        assert row.at


@pytest.mark.parametrize("proven", TABLES, ids=lambda proven: proven.table.decision)
def test_a_figure_from_memory_says_so_in_its_row(proven: ProvenTable) -> None:
    remembered = [
        row
        for row in proven.table.rows
        if row.source != ASSUMPTION and not proven.table.source(row.source).seen
    ]
    assert [row.id for row in remembered if "from memory" not in row.at] == []


def test_every_row_of_the_built_in_protocol_is_counted() -> None:
    counts = {
        c.decision: c.seen + c.from_memory + c.assumption + c.refer
        for c in provenance(read_protocol())
    }
    assert counts == {proven.table.decision: len(proven.table.rows) for proven in TABLES}


def test_a_link_that_leads_nowhere_is_not_taken_for_a_clinic_without_tables(
    tmp_path: Path,
) -> None:
    (tmp_path / "tables").symlink_to(tmp_path / "gone")
    with pytest.raises(TableError, match="the clinic's tables cannot be read"):
        read_protocol(tmp_path / "tables")


def test_a_file_nested_beyond_reading_is_refused(folder: Path) -> None:
    said = refused(folder, f"decision = {'[' * 100_000}")
    assert str(said) == "axis.toml: its lists are nested too deeply. Correct the file."


def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "axis.toml")
    with pytest.raises(TableError, match=r"axis\.toml: this is no ordinary file"):
        read_table(tmp_path / "axis.toml")


def test_a_table_that_is_not_there_is_refused_by_name(tmp_path: Path) -> None:
    with pytest.raises(TableError, match=r"axis\.toml: the file cannot be read: No such file"):
        read_table(tmp_path / "axis.toml")
