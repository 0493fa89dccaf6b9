"""`rehab calendar session`: the clinic's own calendar, and families told the hour of a session."""

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
import vobject
from ical.calendar_stream import IcsCalendarStream

from rehab.care.case import Appointment, CheckKind, Outcome
from rehab.care.diary import Closure, SessionPattern, Site
from rehab.session_dates import sessions
from rehab.store.store import Stamp, open_store
from tests.conftest import Clinic

MONDAY = date(2026, 5, 4)
STAMP = Stamp("M. Okoro", datetime(2026, 4, 20, 8, tzinfo=UTC))
SITES = (
    Site("quay", "Quay House", "2 Pier Road", "Europe/London"),
    Site("hill", "Hill Centre", "", "America/Los_Angeles"),
)
PATTERNS = (
    SessionPattern(
        "mornings", "quay", date(2026, 4, 6), 540, 720, 240, "FREQ=WEEKLY;BYDAY=MO", who="M. Okoro"
    ),
    SessionPattern(
        "glasses", "hill", date(2026, 4, 7), 600, 660, 60, "FREQ=WEEKLY;BYDAY=TU",
        kinds=(CheckKind.REFRACTION, CheckKind.GLASSES),
    ),
    SessionPattern(
        "theatre", "quay", MONDAY, 800, 900, 100, kinds=(CheckKind.ANAESTHESIA,),
        under_anaesthesia=True,
    ),
)  # fmt: skip


@pytest.fixture
def booked(asel: Clinic) -> Clinic:
    """K-017 is booked into the morning of 4 May and, no more, into that of 11 May."""
    store = open_store(asel.database_url)
    with store.transaction() as tx:
        for record in (*SITES, *PATTERNS):
            tx.add_to_diary(record, STAMP)
        for week, outcome in enumerate((Outcome.BOOKED, Outcome.CANCELLED_BY_FAMILY)):
            on = MONDAY + timedelta(weeks=week)
            (held,) = (
                s for s in sessions(tx.diary(), on, on + timedelta(1)) if s.pattern == "mornings"
            )
            tx.add("K-017", Appointment("", on, outcome, held.id, 580, 20), STAMP)
    store.close()
    return asel


def read(path: Path) -> Sequence[vobject.base.Component]:
    """The events as one parser understood them, once another has agreed."""
    content = path.read_bytes().decode()
    events = vobject.readOne(content).contents.get("vevent", ())
    others = IcsCalendarStream.calendar_from_ics(content).events
    assert [(e.uid.value, e.dtstart.value, e.summary.value) for e in events] == [
        (e.uid, e.start, e.summary) for e in others
    ]
    return list(events)


WEEK = "calendar session --from 2026-05-04 --until 2026-05-08"


def test_each_session_is_an_event_that_says_where_what_and_who(
    booked: Clinic, tmp_path: Path
) -> None:
    out = tmp_path / "clinic.ics"
    assert booked.say(f"{WEEK} --out {out}") == f"Wrote {out}: 3 sessions.\n"
    told = sorted((e.dtstart.value, e.dtend.value, e.summary.value) for e in read(out))
    assert told == [
        (
            datetime(2026, 5, 4, 8, tzinfo=UTC),
            datetime(2026, 5, 4, 11, tzinfo=UTC),
            "Quay House: all checks (M. Okoro)",
        ),
        (
            datetime(2026, 5, 4, 12, 20, tzinfo=UTC),
            datetime(2026, 5, 4, 14, tzinfo=UTC),
            "Quay House: under anaesthesia",
        ),
        (
            datetime(2026, 5, 5, 17, tzinfo=UTC),
            datetime(2026, 5, 5, 18, tzinfo=UTC),
            "Hill Centre: refraction, glasses review",
        ),
    ]
    assert b"BEGIN:VTIMEZONE" not in out.read_bytes()


def test_a_session_lists_who_is_booked_by_time_and_number(booked: Clinic, tmp_path: Path) -> None:
    out = tmp_path / "clinic.ics"
    booked.say(f"{WEEK} --out {out} --session mornings")
    (event,) = read(out)
    head, line = event.description.value.splitlines()
    assert head == "1 booked, 20 of 240 minutes"
    assert line == "09:40 K-017: contact lens review (right eye)"
    assert "Asel" not in out.read_text()
    booked.say(f"{WEEK} --out {out} --session mornings --names")
    (event,) = read(out)
    assert "09:40 K-017 Asel T: contact lens review" in event.description.value


def test_a_cancelled_appointment_takes_no_place_in_the_session(
    booked: Clinic, tmp_path: Path
) -> None:
    out = tmp_path / "clinic.ics"
    booked.say(f"calendar session --from 2026-05-11 --until 2026-05-11 --out {out}")
    (event,) = read(out)
    assert event.description.value == "0 booked, 0 of 240 minutes"


def test_appointments_can_be_events_as_well(booked: Clinic, tmp_path: Path) -> None:
    out = tmp_path / "clinic.ics"
    booked.say(f"{WEEK} --site quay --appointments --out {out}")
    told = [(e.summary.value.partition(":")[0], e.status.value) for e in read(out)]
    assert sorted(told) == [
        ("K-017", "CONFIRMED"), ("Quay House", "CONFIRMED"), ("Quay House", "CONFIRMED")
    ]  # fmt: skip


def test_the_same_day_gives_the_same_bytes(booked: Clinic, tmp_path: Path) -> None:
    first, second = tmp_path / "first.ics", tmp_path / "second.ics"
    booked.say(f"{WEEK} --appointments --out {first}")
    booked.say(f"{WEEK} --appointments --out {second}")
    assert first.read_bytes() == second.read_bytes()


def test_one_site_and_one_pattern_can_be_chosen_and_others_are_refused(
    booked: Clinic, tmp_path: Path
) -> None:
    out = tmp_path / "clinic.ics"
    assert booked.say(f"{WEEK} --site hill --out {out}") == f"Wrote {out}: 1 session.\n"
    assert booked.say(f"{WEEK} --site hill --session theatre --out {out}").endswith(
        ": 0 sessions.\n"
    )
    assert booked.refuse(f"{WEEK} --site dale --out {out}") == (
        "the diary has no site dale. It has: hill, quay."
    )
    assert booked.refuse(f"{WEEK} --session noon --out {out}") == (
        "the diary has no session pattern noon. It has: glasses, mornings, theatre."
    )


def test_days_the_wrong_way_round_are_refused(clinic: Clinic, tmp_path: Path) -> None:
    said = clinic.refuse(
        f"calendar session --from 2026-05-04 --until 2026-05-03 --out {tmp_path / 'clinic.ics'}"
    )
    assert said == "--until: 2026-05-03 is before 2026-05-04. Give a later day."


def test_a_clinic_without_a_diary_has_a_calendar_without_events(
    clinic: Clinic, tmp_path: Path
) -> None:
    out = tmp_path / "clinic.ics"
    assert clinic.say(f"{WEEK} --out {out}") == f"Wrote {out}: 0 sessions.\n"
    assert read(out) == []


def test_the_family_sees_the_hour_and_the_place_and_a_new_hour_outranks_the_old(
    booked: Clinic, tmp_path: Path
) -> None:
    out = tmp_path / "K-017.ics"
    booked.say(f"calendar export K-017 --out {out}")
    starts = datetime(2026, 5, 4, 8, 40, tzinfo=UTC)
    (before,) = (e for e in read(out) if e.dtstart.value == starts)
    assert before.location.value == "Quay House, 2 Pier Road"
    assert before.dtend.value == starts + timedelta(minutes=20)
    store = open_store(booked.database_url)
    with store.transaction() as tx:
        (old,) = (a for a in tx.case("K-017").appointments if a.outcome is Outcome.BOOKED)
        moved = Appointment(old.id, old.on, old.outcome, old.session, 600, 20)
        tx.correct(old.id, moved, Stamp("M. Okoro", STAMP.at, "earlier"), 1)
    store.close()
    booked.say(f"calendar export K-017 --out {out}")
    (after,) = (e for e in read(out) if e.uid.value == before.uid.value)
    assert after.dtstart.value == starts + timedelta(minutes=20)
    assert int(after.sequence.value) == int(before.sequence.value) + 1


def test_an_appointment_keeps_its_hour_while_its_session_is_closed(
    booked: Clinic, tmp_path: Path
) -> None:
    before, after = tmp_path / "before.ics", tmp_path / "after.ics"
    booked.say(f"calendar export K-017 --out {before}")
    store = open_store(booked.database_url)
    with store.transaction() as tx:
        tx.add_to_diary(Closure("leave", MONDAY, MONDAY + timedelta(1), "leave"), STAMP)
    store.close()
    booked.say(f"calendar export K-017 --out {after}")
    assert b"DTSTART:20260504T084000Z" in before.read_bytes()
    assert after.read_bytes() == before.read_bytes()
