"""`rehab child import`: what a clinic's table says is taken whole, or every reason why not."""

import csv
import io
import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import Result

from rehab.cli.import_children import FIRST_PROBLEMS
from tests.conftest import WHO, Clinic

HEADS = "number,name,born,surgery_1_eye,surgery_1_on,surgery_1_procedure"
BADU = "K-021,Badu Oro,2026-01-05,right,2026-02-16,lens removal"
CELA = "K-022,Cela Ndi,2025-11-30,,,"


@pytest.fixture
def table(tmp_path: Path) -> Path:
    return tmp_path / "children.csv"


def save(table: Path, *lines: str, heads: str = HEADS, encoding: str = "utf-8") -> Path:
    table.write_bytes(("\r\n".join((heads, *lines)) + "\r\n").encode(encoding))
    return table


def refused(clinic: Clinic, line: str) -> str:
    """What a report of failing lines says; the command ends with 1 and complains of nothing."""
    result = clinic.run(f"child import {line}")
    assert (result.exit_code, result.stderr) == (1, ""), result.output
    return result.stdout


def numbers(clinic: Clinic) -> list[str]:
    return [child["number"] for child in json.loads(clinic.say("child list --json"))]


def shown(clinic: Clinic, number: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(clinic.say(f"child show {number} --json"))
    return found


def test_a_dry_run_tells_what_would_be_written_and_writes_nothing(
    clinic: Clinic, table: Path
) -> None:
    said = clinic.say(f"child import {save(table, BADU, CELA)}")
    assert said == (
        "2 new, 0 adds, 0 unchanged, 0 cannot be taken. This was a dry run: nothing was written. "
        "To write: --write\n"
    )
    assert numbers(clinic) == []


def test_what_is_written_is_what_the_file_says_with_where_it_came_from(
    clinic: Clinic, table: Path
) -> None:
    said = clinic.say(f"child import {save(table, BADU, CELA)} --write --why takeover")
    assert said == "2 new, 0 adds, 0 unchanged, 0 cannot be taken. Written.\n"
    assert numbers(clinic) == ["K-021", "K-022"]
    (surgery,) = shown(clinic, "K-021")["surgeries"]
    assert (surgery["eye"], surgery["on"], surgery["procedure"]) == (
        "right",
        "2026-02-16",
        "lens removal",
    )
    stamps = {version.stamp for version in clinic.history("K-021")}
    assert {(s.by, s.reason) for s in stamps} == {(WHO, "takeover (children.csv, line 2)")}


def test_the_same_file_twice_changes_nothing(clinic: Clinic, table: Path) -> None:
    clinic.say(f"child import {save(table, BADU, CELA)} --write")
    before = clinic.history("K-021")
    said = clinic.say(f"child import {table} --write")
    assert said == "0 new, 0 adds, 2 unchanged, 0 cannot be taken. Written.\n"
    assert clinic.history("K-021") == before


def test_nothing_is_written_when_one_line_fails_unless_told(clinic: Clinic, table: Path) -> None:
    save(table, BADU, "K-023,Dano,2027-01-01,,,", CELA)
    said = refused(clinic, f"{table} --write")
    assert said == (
        "line 3 (K-023): the date of birth 2027-01-01 is after today, 2026-04-20. "
        "Check the date, or give --today.\n"
        "2 new, 0 adds, 0 unchanged, 1 cannot be taken. Nothing was written. "
        "Correct these lines, or leave them: --skip-failed\n"
    )
    assert numbers(clinic) == []
    said = refused(clinic, f"{table} --write --skip-failed")
    assert said.endswith("1 cannot be taken. Written without the 1 that cannot be taken.\n")
    assert numbers(clinic) == ["K-021", "K-022"]


def test_a_line_completes_a_known_child_and_never_overwrites(asel: Clinic, table: Path) -> None:
    heads = "number,name,born,gestation_weeks,phone,surgery_1_eye,surgery_1_on,surgery_1_procedure"
    known = "K-017,Asel T,2026-02-11,37,+00 555-0117,left,2026-04-13,lens removal"
    said = asel.say(f"child import {save(table, known, heads=heads)} --write")
    assert said == "0 new, 1 adds, 0 unchanged, 0 cannot be taken. Written.\n"
    case = shown(asel, "K-017")
    assert (case["gestation_weeks"], case["phone"]) == (37, "+00 555 0117")
    assert [s["eye"] for s in case["surgeries"]] == ["right", "left"]
    other = "K-017,Asel T,2026-11-02,,,right,2026-03-30,lens removal with implant"
    said = refused(asel, str(save(table, other, heads=heads)))
    assert "the date of birth 2026-11-02 is after today" in said
    other = "K-017,Asel T,2026-02-12,,,right,2026-03-30,lens removal with implant"
    assert refused(asel, str(save(table, other, heads=heads))).startswith(
        "line 2 (K-017): differs: born 2026-02-11 is recorded, 2026-02-12 in the file. surgery of "
        "the right eye on 2026-03-30: differs: procedure lens removal is recorded, lens removal "
        "with implant in the file.\n"
    )


def test_a_new_fact_that_contradicts_a_recorded_one_fails(asel: Clinic, table: Path) -> None:
    again = "K-017,Asel T,2026-02-11,right,2026-04-13,lens removal"
    said = refused(asel, str(save(table, again)))
    assert "so lens removal on 2026-04-13 cannot be" in said
    partial = "K-017,Asel T,2026-02-11,left,2026-04-01,lens removal"
    asel.say('exam add K-017 --on 2026-04-10 --cataract "left=partial"')
    assert "so its lens cannot have a cataract" in refused(asel, str(save(table, partial)))


def test_likely_duplicates_are_shown_and_kept_out_until_someone_has_looked(
    asel: Clinic, table: Path
) -> None:
    heads = "number,name,born,phone,family"
    twins = (
        "K-041,Ömer Acar,2026-03-01,+00 555 0141,acar",
        "K-042,Elif Acar,2026-03-01,+00 555 0141,acar",
    )
    again = ("K-043,\"T., Assel\",2026-02-11,,", "K-044,ACAR Omer,2026-03-01,,",
             "K-045,Quite Other,2026-03-01,00 555 0141,", "K-046,Asel T,2026-02-12,,")  # fmt: skip
    save(table, *twins, *again, heads=heads)
    said = refused(asel, f"{table}").splitlines()
    assert said[:2] == [
        "line 4 (K-043): may be K-017, recorded: born on the same day, a like name. If they are "
        "two children: --not-duplicate K-043",
        "line 5 (K-044): may be K-041 (line 2): born on the same day, a like name. If they are "
        "two children: --not-duplicate K-044",
    ]
    assert "may be K-041 (line 2): born on the same day, the same phone" in said[2]
    assert said[3].startswith("3 new, 0 adds, 0 unchanged, 3 cannot")
    looked = "--not-duplicate K-043 --not-duplicate K-044 --not-duplicate K-045"
    assert asel.say(f"child import {table} {looked} --write").startswith("6 new")
    heads = "number,name,born,contact_name,contact_phone"
    first = "K-047,Quite Other,2026-01-09,Ama,+00 555 0147"
    asel.say(f"child import {save(table.with_name('a.csv'), first, heads=heads)} --write")
    second = save(
        table.with_name("b.csv"), "K-048,Nor Alike,2026-01-09,Esi,+00 555 0147", heads=heads
    )
    assert "may be K-047, recorded: born on the same day, the same phone" in refused(
        asel, str(second)
    )
    assert asel.say(f"child import {table}").startswith("0 new, 0 adds, 6 unchanged")


MAPPING = """
dates = "day/month/year"
encoding = "cp1252"
ignore = ["Remarks"]
[columns]
"File no." = "number"
"Child" = "name"
"Date of birth" = "born"
"Side" = "surgery_1_eye"
"Date of surgery" = "surgery_1_on"
"Operation" = "surgery_1_procedure"
"May text?" = "contact_text_consent"
"Mother" = "contact_name"
[words.procedure]
"LA + IOL" = "lens removal with implant"
[words.eye]
"D" = "right"
[words.consent]
"oui" = "yes"
"""


def test_a_mapping_explains_a_clinics_own_headings_words_dates_and_letters(
    clinic: Clinic, table: Path, tmp_path: Path
) -> None:
    mapping = tmp_path / "ours.toml"
    mapping.write_text(MAPPING, encoding="utf-8")
    heads = "file no.;CHILD;Date of  birth;Side;Date of surgery;Operation;Mother;May text?;Remarks"
    line = "K-051;Zoë Lété;05/01/2026;d;16/2/2026;la + iol;Anaïs;Oui;x"
    save(table, line, heads=heads, encoding="cp1252")
    said = clinic.say(f"child import {table} --mapping {mapping} --write")
    assert said.startswith("The columns are separated by semicolons.\n1 new")
    case = shown(clinic, "K-051")
    assert (case["name"], case["date_of_birth"]) == ("Zoë Lété", "2026-01-05")
    (surgery,) = case["surgeries"]
    assert (surgery["on"], surgery["procedure"]) == ("2026-02-16", "lens removal with implant")


def test_only_the_first_problems_are_printed_and_the_report_holds_every_line(
    clinic: Clinic, table: Path, tmp_path: Path
) -> None:
    bad = [f"K-{n},=Name,2026-13-01,,," for n in range(100, 100 + FIRST_PROBLEMS + 5)]
    report = tmp_path / "report.csv"
    said = refused(clinic, f"{save(table, CELA, *bad)} --report {report}").splitlines()
    assert said[-2] == "and 5 more lines: see them all with --report FILE.csv"
    rows = list(csv.reader(io.StringIO(report.read_text(encoding="utf-8-sig"))))
    assert rows[:3] == [
        ["line", "number", "name", "outcome", "what"],
        ["2", "K-022", "Cela Ndi", "new", ""],
        [
            "3",
            "K-100",
            "'=Name",
            "cannot be taken",
            "born: '2026-13-01' is not year-month-day, such as 2026-03-09.",
        ],
    ]
    assert len(rows) == 2 + len(bad)


def test_programs_read_the_outcome_as_json(clinic: Clinic, table: Path) -> None:
    result: Result = clinic.run(f"child import {save(table, BADU, 'K-9,,2026-01-05,,,')} --json")
    assert result.exit_code == 1
    assert json.loads(result.stdout) == {
        "written": False,
        "lines": {"new": 1, "adds": 0, "unchanged": 0, "cannot be taken": 1},
        "notes": [],
        "first_problems": [{"line": 3, "number": "K-9", "what": ["name: is empty."]}],
    }


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_a_template_is_filled_in_and_its_example_is_refused_until_replaced(
    clinic: Clinic, tmp_path: Path, kind: str
) -> None:
    out = tmp_path / f"empty.{kind}"
    assert clinic.say(f"import template {out}").startswith(f"Wrote {out}. Replace its example")
    said = refused(clinic, str(out))
    assert said.startswith("line 2 (EXAMPLE-1): this is the example of the template: delete it.\n")


def test_a_template_is_a_table_and_nothing_else(clinic: Clinic, tmp_path: Path) -> None:
    assert "in .xlsx or .csv" in clinic.misuse(f"import template {tmp_path / 'empty.pdf'}")


def test_no_table_is_overwritten_by_a_template_or_a_report(clinic: Clinic, table: Path) -> None:
    before = save(table, BADU).read_bytes()
    assert "is there already" in clinic.misuse(f"import template {table}")
    said = clinic.misuse(f"child import {table} --report {table}")
    assert "the report would take the place of FILE" in said
    assert table.read_bytes() == before


def test_the_number_of_a_withdrawn_child_never_means_another(clinic: Clinic, table: Path) -> None:
    clinic.say('child add K-021 --name "Ama" --born 2026-01-05')
    clinic.say('record withdraw K-021 --why "entered twice"')
    said = refused(clinic, str(save(table, BADU)))
    assert "line 2 (K-021): this number was withdrawn: it never means another child." in said


def test_a_number_given_to_two_children_is_told(clinic: Clinic, table: Path) -> None:
    said = refused(clinic, str(save(table, BADU, CELA, BADU.replace("Badu", "Dano"))))
    assert "line 4 (K-021): K-021 stands on line 2 too: give each child one line." in said


def test_the_order_of_dates_is_asked_for_with_what_each_column_would_allow(
    clinic: Clinic, table: Path
) -> None:
    first = "K-1,Ama,05/01/2026,right,16/02/2026,lens removal"
    save(table, first, "K-2,Badu,06/01/2026,,,", "K-3,Cela,2026-01-07,,,")
    said = refused(clinic, str(table)).splitlines()
    assert said[:2] == [
        "born: all 2 dates would be days as day/month/year and as month/day/year.",
        "surgery_1_on: its date would be a day as day/month/year (1 as day/month/year).",
    ]
    assert said[2] == (
        "line 2 (K-1): born: '05/01/2026' would be a day as day/month/year or as month/day/year: "
        "say which with --dates. surgery_1_on: '16/02/2026' would be a day as day/month/year: say "
        "which with --dates."
    )
    assert clinic.say(f"child import {table} --dates day/month/year").startswith("3 new")


def test_mixed_orders_of_dates_are_told_as_mixed(clinic: Clinic, table: Path) -> None:
    save(table, "K-1,Ama,16/01/2026,,,", "K-2,Badu,01/17/2026,,,", "K-3,Cela,01/02/2026,,,")
    said = refused(clinic, str(table))
    assert said.startswith(
        "born: the dates are mixed. No one order makes all 3 of them days (2 as day/month/year, "
        "2 as month/day/year): find out which lines were written otherwise.\n"
    )
    said = refused(clinic, f"{table} --dates day/month/year")
    assert "line 3 (K-2): born: '01/17/2026' is no day in the order day/month/year." in said


def test_an_appointment_that_has_been_is_not_taken_but_one_recorded_is_unchanged(
    clinic: Clinic, table: Path
) -> None:
    heads = "number,name,born,appointment_on"
    save(table, "K-1,Ama,2026-01-05,2026-05-04", heads=heads)
    clinic.say(f"child import {table} --write")
    said = clinic.say(f"child import {table} --today 2026-06-01")
    assert said.startswith("0 new, 0 adds, 1 unchanged")
    save(table, "K-2,Badu,2026-01-05,2026-04-19", heads=heads)
    assert "2026-04-19 is past, and what became of it is not told" in refused(clinic, str(table))


def test_contacts_and_limits_are_completed_and_never_overwritten(
    clinic: Clinic, table: Path
) -> None:
    heads = "number,name,born,contact_name,contact_phone,contact_text_consent,weekdays,not_before"
    plain = "K-1,Ama,2026-01-05,Esi,,,Monday,"
    clinic.say(f"child import {save(table, plain, heads=heads)} --write")
    more = "K-1,Ama,2026-01-05,ESI,+00 555 0101,yes,Monday,9:30"
    report = table.with_name("report.csv")
    said = clinic.say(f"child import {save(table, more, heads=heads)} --write --report {report}")
    assert said.startswith("0 new, 1 adds")
    assert report.read_text(encoding="utf-8-sig").splitlines()[1] == (
        '2,K-1,Ama,adds,"adds contact ESI: phone, text_consent. adds not_before."'
    )
    assert clinic.say(f"child import {table}").startswith("0 new, 0 adds, 1 unchanged")
    other = "K-1,Ama,2026-01-05,Esi,+00 555 0199,no,Tuesday,"
    said = refused(clinic, str(save(table, other, heads=heads)))
    assert "contact Esi: differs: phone +00 555 0101 is recorded, +00 555 0199 in the file." in said
    assert "differs: weekdays Monday is recorded, Tuesday in the file." in said


def test_what_a_terminal_would_obey_is_shown_and_not_obeyed(clinic: Clinic, table: Path) -> None:
    said = refused(clinic, str(save(table, "K-\x1b[2J,Ama,2026-01-05,,,")))
    assert said.startswith("line 2 (K-\\x1b[2J): ")
    assert "\x1b" not in said
    save(table, heads=f"{HEADS},\x1b[2J")
    assert 'no column is known for "\\x1b[2J"' in clinic.refuse(f"child import {table}")


def test_a_file_that_is_no_table_is_refused_in_one_line(clinic: Clinic, table: Path) -> None:
    table.write_bytes(b"number,name,born\nK-1,Zo\xeb,2026-01-05\n")
    assert clinic.refuse(f"child import {table}").startswith(
        f'{table}: line 2: the byte 0xeb after "K-1,Zo" is no letter in utf-8.'
    )
    said = clinic.say(f"child import {table} --encoding cp1252 --write")
    assert said.startswith("1 new")
    assert shown(clinic, "K-1")["name"] == "Zoë"
