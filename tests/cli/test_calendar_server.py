"""`rehab calendar publish`: what is said of what went to a calendar server, and what stays here."""

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from rehab.care.case import Appointment
from rehab.care.diary import SessionPattern, Site
from rehab.session_dates import sessions
from rehab.store.store import Stamp, open_store
from tests.calendar_servers import PASSWORD, USER, CalDav, caldav_server, saying, unused_address
from tests.conftest import Clinic

MONDAY = date(2026, 5, 4)
STAMP = Stamp("M. Okoro", datetime(2026, 4, 20, 8, tzinfo=UTC))
QUAY = Site("quay", "Quay House", time_zone="Europe/London")
MORNINGS = SessionPattern(
    "mornings", "quay", date(2026, 4, 6), 540, 720, 240, "FREQ=WEEKLY;BYDAY=MO"
)


@pytest.fixture
def server(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[CalDav]:
    monkeypatch.setenv("REHAB_CALENDAR_PASSWORD", PASSWORD)
    folder = tmp_path / "caldav"
    folder.mkdir()
    with caldav_server(folder) as server:
        yield server


@pytest.fixture
def booked(asel: Clinic) -> Clinic:
    """K-017 is booked on two Mondays."""
    store = open_store(asel.database_url)
    with store.transaction() as tx:
        tx.add_to_diary(QUAY, STAMP)
        tx.add_to_diary(MORNINGS, STAMP)
        for held in sessions(tx.diary(), MONDAY, MONDAY + timedelta(days=8)):
            booking = Appointment("", held.on, session=held.id, starts_minute=580, minutes=20)
            tx.add("K-017", booking, STAMP)
    store.close()
    return asel


def test_publishing_says_what_was_sent_and_the_second_time_that_nothing_was(
    booked: Clinic, server: CalDav
) -> None:
    command = f"calendar publish --url {server.url} --user {USER}"
    assert booked.say(command) == (
        "K-017 on 2026-05-04 at 09:40: new\nK-017 on 2026-05-11 at 09:40: new\n2 events: 2 new.\n"
    )
    assert booked.say(command) == "2 events: 2 kept.\n"


def test_what_was_changed_there_is_said_with_what_can_be_done(
    booked: Clinic, server: CalDav
) -> None:
    command = f"calendar publish --url {server.url} --user {USER}"
    booked.say(command)
    path = next(p for p in server.calendar.glob("*.ics") if "20260504T084000Z" in p.read_text())
    path.write_text(
        path.read_text().replace("DTSTART:20260504T084000Z", "DTSTART:20260504T083000Z")
    )
    assert booked.say(command) == (
        "K-017 on 2026-05-04 at 09:40: edited there "
        "(begins 2026-05-04 08:30, here 2026-05-04 08:40)\n"
        "2 events: 1 kept, 1 edited there.\n"
        "What was changed there was left alone; --overwrite puts ours in its place.\n"
    )
    assert booked.say(f"{command} --overwrite") == (
        "K-017 on 2026-05-04 at 09:40: changed\n2 events: 1 changed, 1 kept.\n"
    )


def test_sessions_can_be_published_in_place_of_appointments(booked: Clinic, server: CalDav) -> None:
    said = booked.say(
        f"calendar publish --url {server.url} --user {USER} --sessions --site quay "
        "--today 2027-01-01"
    )
    assert "session mornings on 2027-01-04 at 09:00: new\n" in said
    assert said.endswith(f"{len(server.events())} events: {len(server.events())} new.\n")


def test_a_clinic_without_appointments_publishes_nothing(clinic: Clinic, server: CalDav) -> None:
    assert clinic.say(f"calendar publish --url {server.url} --user {USER}") == "0 events.\n"


def test_a_wrong_password_is_told_in_one_line(
    booked: Clinic, server: CalDav, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("REHAB_CALENDAR_PASSWORD", "wrong")
    assert booked.refuse(f"calendar publish --url {server.url} --user {USER}") == (
        f"{server.url}: the server does not accept this user and password. Check both."
    )


def test_a_server_that_is_away_or_silent_is_told_in_one_line(booked: Clinic) -> None:
    url = unused_address()
    assert booked.refuse(f"calendar publish --url {url}") == (
        f"{url}: the calendar server cannot be reached. Check the address and the network. "
        "Nothing is lost: run the same command again, and it goes on from there."
    )
    with saying(None) as silent:
        said = booked.refuse(f"calendar publish --url {silent} --timeout 1")
    assert said.startswith(f"{silent}: the calendar server does not answer in time.")


def test_no_password_goes_over_the_network_in_the_open(booked: Clinic) -> None:
    assert booked.refuse("calendar publish --url http://calendars.example/clinic/") == (
        "--url: http would send the password and the appointments in the open. "
        "Give an address that begins with https."
    )


def test_the_example_of_the_help_works_with_the_address_of_a_server(
    booked: Clinic, server: CalDav
) -> None:
    example = "calendar publish --url https://calendars.example/clinic/ --user desk"
    assert f"Example: rehab {example}" in " ".join(booked.say("calendar publish --help").split())
    assert booked.say(example.replace("https://calendars.example/clinic/", server.url))
