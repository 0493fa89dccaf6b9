"""`rehab booking`: many visits get places at once, the most urgent first, and a person decides."""

import csv
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from rehab.care.case import Appointment
from rehab.care.diary import Closure
from tests.conftest import Clinic
from tests.diaries import HARBOUR, MONDAYS, THEATRE, keep_diary

pytestmark = pytest.mark.both_databases

SIX_WEEKS = "--until 2026-05-31"


@pytest.fixture
def desk(clinic: Clinic) -> Clinic:
    keep_diary(clinic.home, HARBOUR, MONDAYS, THEATRE)
    return clinic


def operated(
    clinic: Clinic, number: str, on: str, more: str = "", seen: str = "2026-04-20"
) -> None:
    """A child of two years whose right lens was taken out on this day, and who was seen since."""
    clinic.say(f"child add {number} --name {number} --born 2024-02-11 {more}")
    clinic.say(
        f'surgery add {number} --eye right --on {on} --procedure "lens removal with implant" '
        "--sutures absorbable"
    )
    clinic.say(
        f"exam add {number} --on {seen} --pressure right=14 --pressure left=14 "
        '--visual-axis right=clear --refraction right=+4.00 --wears "right=glasses"'
    )


def proposed(clinic: Clinic, file: Path, more: str = SIX_WEEKS) -> list[dict[str, str]]:
    clinic.say(f"booking propose {more} --out {file}")
    with file.open(encoding="utf-8-sig", newline="") as lines:
        return list(csv.DictReader(lines))


def places(rows: list[dict[str, str]]) -> list[tuple[str, str]]:
    return [(row["number"], row["session"]) for row in rows if row["session"]]


def booked(clinic: Clinic, number: str) -> list[date]:
    return sorted({r.on for v in clinic.history(number) if isinstance(r := v.record, Appointment)})


def booked_on(clinic: Clinic, number: str) -> date:
    """The day of the child's first appointment, as it now stands."""
    last = [v.record for v in clinic.history(number) if v.key == f"{number}/A1"][-1]
    assert isinstance(last, Appointment)
    return last.on


def test_what_is_proposed_is_booked_only_when_a_person_accepts_it(
    desk: Clinic, tmp_path: Path
) -> None:
    file = tmp_path / "places.csv"
    operated(desk, "K-1", "2026-04-13")
    rows = proposed(desk, file)
    assert places(rows)[0] == ("K-1", "mondays/2026-04-27")
    first = rows[0]
    assert (first["hour"], first["day"]) == ("09:00", "Mon 2026-04-27")
    assert len({(row["session"], row["hour"]) for row in rows}) == len(rows)
    assert date.fromisoformat(first["from"]) <= date(2026, 4, 27)
    assert booked(desk, "K-1") == []
    count = len(places(rows))
    assert desk.say(f"booking accept {file}") == (
        f"Booked {count} of {count} visits.\n"
        "The families do not know yet: each stays on the recall list until it is told.\n"
    )
    assert len(booked(desk, "K-1")) == count
    # What is booked is not proposed again, and the same file is not booked twice.
    assert places(proposed(desk, tmp_path / "again.csv")) == []
    said = desk.refuse(f"booking accept {file}")
    assert said.startswith(f"proposal: {count} of {count} lines cannot be booked any more. Line 2")
    assert "K-1: no unbooked visit is due by 2026-04-27 any more." in said


def test_the_most_urgent_get_the_places_and_the_others_are_told_why(
    desk: Clinic, tmp_path: Path
) -> None:
    keep_diary(desk.home, Closure("fair", date(2026, 5, 4), date(2026, 6, 30), "harvest fair"))
    for n in range(6):
        operated(desk, f"K-{n}", "2026-04-13")
    operated(desk, "Z-9", "2026-04-13", seen="2026-04-18")
    desk.say("child add A-1 --name Bo --born 2024-02-11")
    desk.say("appointment book A-1 2026-04-27 --minutes 30")
    desk.say("appointment book Z-9 2026-04-20 --minutes 5")
    desk.say('appointment outcome Z-9 2026-04-20 "was not brought"')
    rows = proposed(desk, tmp_path / "places.csv", "--until 2026-04-30")
    assert {session for _, session in places(rows)} == {"mondays/2026-04-27"}
    assert "Z-9" in dict(places(rows))
    left = [row for row in rows if row["why_no_place"]]
    assert [row["number"] for row in left] == sorted(row["number"] for row in left)
    assert left[0]["why_no_place"].startswith(
        "Every session that suits is full of visits that are at least as urgent "
        "(mondays/2026-04-27): the most room left is 0 of "
    )
    assert left[0]["what_to_do"].startswith("Add a session")


def test_brothers_and_sisters_come_on_one_day(desk: Clinic, tmp_path: Path) -> None:
    operated(desk, "K-1", "2026-03-02", "--family meadow")
    operated(desk, "K-2", "2026-03-06", "--family meadow")
    rows = proposed(desk, tmp_path / "places.csv", "--until 2026-04-30")
    days = dict(places(rows))
    assert days.keys() == {"K-1", "K-2"}
    assert len(set(days.values())) == 1
    # One is booked by hand: the other is proposed on the same day.
    desk.say("appointment book K-1 2026-04-27")
    (place,) = places(proposed(desk, tmp_path / "more.csv", "--until 2026-04-30"))
    assert place == ("K-2", "mondays/2026-04-27")


def test_a_visit_that_is_late_gets_the_first_session_and_says_so(
    desk: Clinic, tmp_path: Path
) -> None:
    operated(desk, "K-1", "2026-04-13", seen="2026-04-13")
    file = tmp_path / "places.csv"
    first = proposed(desk, file, "--until 2026-04-30")[0]
    assert first["session"] == "mondays/2026-04-27"
    assert first["late"].startswith("its last good day was 2026-04-2")
    assert len(first["visit"].split()) == 2, "what is late joins the visit of that week"
    desk.say(f"booking accept {file} --today 2026-04-21")
    assert booked(desk, "K-1") == [date(2026, 4, 27)]


def test_a_family_that_cannot_come_on_mondays_is_not_sent_there(
    desk: Clinic, tmp_path: Path
) -> None:
    operated(desk, "K-1", "2026-04-13")
    desk.say("contact limits K-1 --weekday Tuesday")
    rows = proposed(desk, tmp_path / "places.csv", "--until 2026-04-30")
    assert places(rows) == []
    assert "for its weekday" in rows[0]["why_no_place"]


def test_what_changed_since_the_proposal_is_found_before_anything_is_booked(
    desk: Clinic, tmp_path: Path
) -> None:
    file = tmp_path / "places.csv"
    for n in (1, 2):
        operated(desk, f"K-{n}", "2026-04-13")
    rows = proposed(desk, file, "--until 2026-04-30")
    assert places(rows) == [("K-1", "mondays/2026-04-27"), ("K-2", "mondays/2026-04-27")]
    desk.say("appointment book K-1 2026-04-27")
    said = desk.refuse(f"booking accept {file}")
    assert said == (
        "proposal: 1 of 2 lines cannot be booked any more. Line 2: K-1: no unbooked visit is due "
        "by 2026-04-27 any more. Nothing was booked. Propose anew, or give --skip-failed "
        "to book the others."
    )
    assert booked(desk, "K-2") == []
    done = desk.run(f"booking accept {file} --skip-failed")
    assert (done.exit_code, done.stdout.splitlines()[0]) == (0, "Booked 1 of 2 visits.")
    assert done.stderr.startswith("Not booked, line 2: K-1: no unbooked visit")


def test_a_session_that_filled_or_shut_meanwhile_takes_nobody(desk: Clinic, tmp_path: Path) -> None:
    file = tmp_path / "places.csv"
    operated(desk, "K-1", "2026-04-13")
    proposed(desk, file, "--until 2026-04-30")
    desk.say("child add K-9 --name Bo --born 2024-02-01")
    desk.say("appointment book K-9 2026-04-27 --minutes 60")
    said = desk.refuse(f"booking accept {file}")
    assert "session mondays/2026-04-27 has 0 minutes left, and this visit takes" in said
    keep_diary(desk.home, Closure("storm", date(2026, 4, 27), date(2026, 4, 28), "storm"))
    said = desk.refuse(f"booking accept {file}")
    assert "session mondays/2026-04-27 is not held, or not any more." in said


def test_a_day_that_the_clinic_file_shut_meanwhile_takes_nobody(
    desk: Clinic, tmp_path: Path
) -> None:
    file, settings = tmp_path / "places.csv", desk.home / "clinic.toml"
    operated(desk, "K-1", "2026-04-13")
    proposed(desk, file, "--until 2026-04-30")
    settings.write_text('name = "Harbour Eye Clinic"\nclosed = [2026-04-27]\n')
    said = desk.refuse(f"booking accept {file}")
    assert "session mondays/2026-04-27 is not held, or not any more." in said


def test_a_line_given_twice_books_one_visit_once(desk: Clinic, tmp_path: Path) -> None:
    file = tmp_path / "places.csv"
    operated(desk, "K-1", "2026-04-13")
    proposed(desk, file, "--until 2026-04-30")
    head, line = file.read_bytes().splitlines(keepends=True)
    file.write_bytes(head + line + line)
    assert desk.refuse(f"booking accept {file}").startswith(
        "proposal: 1 of 2 lines cannot be booked any more. Line 3: K-1: line 2 places this visit "
    )


def test_nothing_that_is_booked_moves_unless_a_person_says_so(desk: Clinic, tmp_path: Path) -> None:
    operated(desk, "K-1", "2026-03-02", "--family meadow")
    operated(desk, "K-2", "2026-03-06", "--family meadow")
    keep_diary(desk.home, replace(MONDAYS, code="fridays", rule="FREQ=WEEKLY;BYDAY=FR"))
    desk.say("appointment book K-1 2026-04-27")
    desk.say("appointment book K-2 2026-04-24")
    assert proposed(desk, tmp_path / "a.csv", "--until 2026-05-03") == []
    rows = proposed(desk, tmp_path / "b.csv", "--until 2026-05-03 --move all")
    (moved,) = rows
    assert moved["moves"] in ("K-1/A1", "K-2/A1")
    desk.say(f"booking accept {tmp_path / 'b.csv'}")
    days = [booked_on(desk, number) for number in ("K-1", "K-2")]
    assert days[0] == days[1]


def test_an_appointment_that_is_gone_or_moved_already_is_not_moved_again(
    desk: Clinic, tmp_path: Path
) -> None:
    operated(desk, "K-1", "2026-03-02")
    desk.say("appointment book K-1 2026-04-27")
    keep_diary(desk.home, Closure("storm", date(2026, 4, 27), date(2026, 4, 28), "storm"))
    file = tmp_path / "moves.csv"
    proposed(desk, file, "--until 2026-05-03 --move 'shut days'")
    head, line = file.read_bytes().splitlines(keepends=True)
    file.write_bytes(head + line + line.replace(b"2026-05-04", b"2026-05-11"))
    assert "Line 3: K-1: line 2 places this visit already." in desk.refuse(f"booking accept {file}")
    desk.say('appointment outcome K-1 2026-04-27 "cancelled by family"')
    file.write_bytes(head + line)
    assert "K-1/A1 is not booked any more: it was changed by someone else." in desk.refuse(
        f"booking accept {file}"
    )


def test_a_family_booked_on_a_day_that_was_shut_is_named_and_moved_when_asked(
    desk: Clinic, tmp_path: Path
) -> None:
    operated(desk, "K-1", "2026-03-02")
    desk.say("appointment book K-1 2026-04-27")
    keep_diary(desk.home, Closure("storm", date(2026, 4, 27), date(2026, 4, 28), "storm"))
    (row,) = proposed(desk, tmp_path / "a.csv", "--until 2026-05-03")
    assert row["why_no_place"].startswith("It is booked on 2026-04-27, and cannot be kept: ")
    (row,) = proposed(desk, tmp_path / "b.csv", "--until 2026-05-03 --move 'shut days'")
    assert (row["moves"], row["session"]) == ("K-1/A1", "mondays/2026-05-04")
    desk.say(f"booking accept {tmp_path / 'b.csv'}")
    assert booked_on(desk, "K-1") == date(2026, 5, 4)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            "number,name\nK-1,Bo\n",
            "the first line does not name session, hour, minutes, visit, moves.",
        ),
        (
            "number,session,hour,minutes,visit,moves\nK-1,m/2026-04-27,9am,,,\n",
            "line 2: '9am' is no time of day, such as 10:00.",
        ),
        (
            "number,session,hour,minutes,visit,moves\nK-1,m/2026-04-27,99:00,,,\n",
            "line 2: '99:00' is no time of day",
        ),
        (
            "number,session,hour,minutes,visit,moves\nK-1,m,09:00,,,,,\n",
            "line 2: has more or fewer columns",
        ),
        ("number,session,hour,minutes,visit,moves\n,m,09:00,,,\n", "line 2: names no child"),
        (
            "number,session,hour,minutes,visit,moves\nK-1,m,09:00,ten,,\n",
            "line 2: 'ten' is not whole minutes, such as 90.",
        ),
        (
            'number,session,hour,minutes,visit,moves\nK-1,"m,09:00,,,\n',
            "cannot be split into columns",
        ),
    ],
)
def test_a_file_that_is_no_proposal_is_refused_with_its_lines(
    desk: Clinic, tmp_path: Path, text: str, said: str
) -> None:
    file = tmp_path / "odd.csv"
    file.write_text(text, encoding="utf-8")
    assert said in desk.refuse(f"booking accept {file}")


def test_a_child_or_session_that_does_not_exist_is_named(desk: Clinic, tmp_path: Path) -> None:
    file = tmp_path / "odd.csv"
    file.write_text(
        "number;session;hour;minutes;visit;moves\nK-8;mondays/2026-04-27;;;;\n"
        "K-1;mondays/27 April;;;;\n",
        encoding="utf-8",
    )
    operated(desk, "K-1", "2026-03-02")
    said = desk.refuse(f"booking accept {file}")
    assert "Line 2: K-8: no child has this number." in said
    assert "Line 3: K-1: session mondays/27 April is not held, or not any more." in said


def test_what_would_steer_a_terminal_is_shown_and_not_obeyed(desk: Clinic, tmp_path: Path) -> None:
    file = tmp_path / "odd.csv"
    file.write_text(
        "number,session,hour,minutes,visit,moves\nK\x1b[2J,m\u202e/2026-04-27,,,,\n",
        encoding="utf-8",
    )
    said = desk.refuse(f"booking accept {file}")
    assert "Line 2: K\\x1b[2J: no child has this number." in said
    assert "\x1b" not in said


def test_days_in_the_wrong_order_are_refused(desk: Clinic) -> None:
    said = desk.misuse("booking propose --until 2026-04-20")
    assert said == "--from must be after today and not after --until."
