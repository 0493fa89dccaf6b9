"""The file that explains a clinic's tables: every problem in it is told at once."""

from pathlib import Path

import pytest

from rehab.errors import SettingsError
from rehab.import_mapping import read_mapping
from rehab.measures.written_dates import DateOrder

BAD = [
    ("dates = 'd/m/y'", "dates must be one of day/month/year, month/day/year, year/month/day"),
    ("delimiter = 'x'", 'delimiter must be one of "," ";" "|" "\\t"'),
    ("encoding = 8", "encoding must be text in quotes"),
    ("ignore = 'Ward'", "ignore must list texts in quotes"),
    ("colums = {}", "colums is not part of a mapping (known: dates, encoding"),
    ("columns = 1", "[columns] must give headings their columns"),
    ("[columns]\n'DOB' = 'birthday'", "'DOB' = 'birthday': there is no such column (number,"),
    ("[columns]\n'DOB' = 'born'\n'dob' = 'name'", "'dob' and 'DOB' are one heading"),
    ("words = 1", "[words.procedure] must give words their meaning"),
    ("[words.name]\n'x' = 'y'", "[words.name]: its words cannot be mapped (eye, procedure,"),
    ("[words.eye]\n'D' = 'dexter'", "[words.eye] 'D' = 'dexter': known are right, left"),
    ("dates = ", "this mapping cannot be read (Invalid value (at end of document))"),
]


@pytest.mark.parametrize(("content", "words"), BAD)
def test_a_mapping_that_cannot_be_meant_is_refused(
    tmp_path: Path, content: str, words: str
) -> None:
    path = tmp_path / "ours.toml"
    path.write_text(content)
    with pytest.raises(SettingsError) as refusal:
        read_mapping(path)
    assert words in refusal.value.what
    assert refusal.value.where == str(path)


def test_every_problem_is_told_at_once(tmp_path: Path) -> None:
    path = tmp_path / "ours.toml"
    path.write_text("dates = 'x'\nsheet = 1\n[columns]\n'A' = 'b'")
    with pytest.raises(SettingsError, match="sheet must be text in quotes; dates must be") as told:
        read_mapping(path)
    assert "'A' = 'b'" in told.value.what


def test_headings_are_known_by_their_words_whatever_their_case_and_spaces(tmp_path: Path) -> None:
    path = tmp_path / "ours.toml"
    path.write_text('dates = "month/day/year"\n[columns]\n"Date of birth" = "born"')
    found = read_mapping(path)
    assert found.dates is DateOrder.MONTH_FIRST
    assert found.column(" DATE  of Birth") == "born"
    assert found.column("Surgery 1 eye") == "surgery_1_eye"
    assert found.column("Ward") is None
