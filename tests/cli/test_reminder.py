"""`rehab reminder`: from a booked appointment to a message that went out once, or never."""

from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from ical.calendar_stream import IcsCalendarStream

from rehab.care.case import Appointment
from rehab.care.diary import Closure, SessionPattern, Site
from rehab.settings import read_settings
from rehab.shipped_files import shipped
from rehab.store.store import Stamp, open_store
from tests.cli.conftest import (
    MOTHER,
    ONE_BEFORE,
    THE_DAY,
    THREE_BEFORE,
    TWO_BEFORE,
    gone_out,
    outbox,
    send,
    write,
)
from tests.conftest import Clinic
from tests.letters.test_reminder import TELLING_WORD

STAMP = Stamp("M. Okoro", datetime(2026, 4, 20, 8, tzinfo=UTC), "as told")


def test_each_reminder_is_written_on_its_day_and_goes_out_once(booked: Clinic) -> None:
    assert write(booked, "2026-04-30") == ["0 messages written."]
    assert write(booked, THREE_BEFORE) == ["2 messages written."]
    assert write(booked, THREE_BEFORE) == ["0 messages written; 2 there already."]
    assert send(booked, THREE_BEFORE) == ["2 messages: 2 sent."]
    assert send(booked, THREE_BEFORE) == ["0 messages."]
    assert write(booked, TWO_BEFORE) == ["0 messages written; 2 there already."]
    assert write(booked, ONE_BEFORE) == ["2 messages written."]
    assert send(booked, ONE_BEFORE) == ["2 messages: 2 sent."]
    for day in (THE_DAY, "2026-05-05"):
        assert (write(booked, day), send(booked, day)) == (["0 messages written."], ["0 messages."])
    assert gone_out(booked) == ["e-mail", "e-mail", "text message", "text message"]


def test_a_missed_day_is_made_up_for_late_and_never_with_two_on_one_day(booked: Clinic) -> None:
    assert write(booked, TWO_BEFORE) == ["2 messages written."]
    assert write(booked, ONE_BEFORE) == ["2 messages written."]
    told = send(booked, ONE_BEFORE)
    assert told[-1] == "4 messages: 2 sent, 2 cancelled."
    assert all(line.endswith("another reminder has taken its place") for line in told[:-1])
    assert gone_out(booked) == ["e-mail", "text message"]


def test_a_clinic_chooses_its_own_days(booked: Clinic) -> None:
    with (booked.home / "clinic.toml").open("a") as file:
        file.write("reminder_days = [7]\n")
    assert write(booked, "2026-04-26") == ["0 messages written."]
    assert write(booked, "2026-04-27") == ["2 messages written."]
    assert {m["days_before"] for m in outbox(booked)} == {7}


def test_nothing_goes_out_for_a_day_that_the_clinic_file_closes_meanwhile(written: Clinic) -> None:
    file = written.home / "clinic.toml"
    file.write_text(file.read_text().replace("2026-12-25", f"2026-12-25, {THE_DAY}"))
    told = send(written, THREE_BEFORE)
    assert told[-1] == "2 messages: 2 cancelled."
    assert all(line.endswith("closed by the clinic file") for line in told[:-1])


def test_the_files_tell_day_and_phone_and_not_why_the_child_comes(written: Clinic) -> None:
    send(written, THREE_BEFORE)
    out = written.home.parent / "out"
    for path in out.iterdir():
        said = path.read_bytes().decode().replace("\r\n ", "").replace("Harbour Eye Clinic", "")
        assert TELLING_WORD.findall(said.replace("aigul@example.org", "")) == [], path
        assert "Asel" not in said
    (text,) = (t for t in out.glob("*.txt") if t.read_text().startswith("Harbour"))
    assert text.read_text() == (
        "Harbour Eye Clinic: your child has an appointment on Monday 4 May. "
        "If you cannot come, please ring +00 555 0100."
    )


def test_the_calendar_file_is_the_event_of_the_familys_own_calendar(
    written: Clinic, tmp_path: Path
) -> None:
    written.say(f"calendar export K-017 --out {tmp_path / 'K-017.ics'} --today {THREE_BEFORE}")
    whole = IcsCalendarStream.calendar_from_ics((tmp_path / "K-017.ics").read_text()).events
    for message in outbox(written):
        (event,) = IcsCalendarStream.calendar_from_ics(message["calendar"]).events
        (own,) = (e for e in whole if e.uid == event.uid)
        assert (event.start, event.sequence) == (own.start, own.sequence)
        assert event.start == date(2026, 5, 4)
        assert event.summary == "Appointment"
        assert event.description == (
            "If you cannot come, please ring Harbour Eye Clinic, +00 555 0100."
        )


def test_an_appointment_in_a_session_tells_hour_and_place_and_not_when_it_is_shut(
    booked: Clinic,
) -> None:
    store = open_store(read_settings(booked.home).database_url)
    with store.transaction() as tx:
        tx.add_to_diary(Site("quay", "Quay House", "2 Pier Road", "Europe/London"), STAMP)
        tx.add_to_diary(
            SessionPattern(
                "mornings", "quay", date(2026, 4, 6), 540, 720, 240, "FREQ=WEEKLY;BYDAY=MO"
            ),
            STAMP,
        )
        (old,) = tx.case("K-017").appointments
        held = Appointment(old.id, old.on, old.outcome, "mornings/2026-05-04", 580, 20)
        tx.correct(old.id, held, STAMP, tx.version(old.id))
    write(booked, THREE_BEFORE)
    text, email = sorted(outbox(booked), key=lambda m: str(m["way"]), reverse=True)
    assert text["text"] == (
        "Harbour Eye Clinic: your child has an appointment on Monday 4 May at 09:40, Quay House, "
        "2 Pier Road. If you cannot come, please ring +00 555 0100."
    )
    assert text["segments"] == 1
    assert "When: Monday 4 May 2026, 09:40\nWhere: Quay House, 2 Pier Road\n" in email["text"]
    with store.transaction() as tx:
        tx.add_to_diary(Closure("one", date(2026, 5, 4), date(2026, 5, 5), "staff training"), STAMP)
    store.close()
    told = send(booked, THREE_BEFORE)
    assert told[-1] == "2 messages: 2 cancelled."
    assert all(line.endswith("staff training") for line in told[:-1])
    assert write(booked, THREE_BEFORE) == [
        "0 messages written.",
        "Not reminded of what cannot be kept; please move these appointments:",
        "K-017  Asel T  2026-05-04  staff training",
    ]


@pytest.mark.parametrize(
    ("between", "why"),
    [
        (
            'appointment outcome K-017 2026-05-04 "cancelled by family"',
            "the appointment is no longer booked",
        ),
        ("appointment move K-017 2026-05-04 2026-05-05", "the appointment was moved"),
        (
            "contact change K-017/C1 --text-consent no --email-consent no --why asked",
            "the family no longer agrees to be written to here",
        ),
    ],
)
def test_what_happens_between_writing_and_sending_stops_the_message(
    written: Clinic, between: str, why: str
) -> None:
    written.say(between)
    told = send(written, THREE_BEFORE)
    assert told[-1] == "2 messages: 2 cancelled."
    assert [line.rpartition("  ")[2] for line in told[:-1]] == [why, why]
    assert send(written, THREE_BEFORE) == ["0 messages."]
    assert gone_out(written) == []


def test_a_moved_appointment_has_its_own_messages_also_when_it_is_moved_back(
    written: Clinic,
) -> None:
    written.say("appointment move K-017 2026-05-04 2026-05-05")
    assert write(written, TWO_BEFORE) == ["2 messages written."]
    assert send(written, TWO_BEFORE)[-1] == "4 messages: 2 sent, 2 cancelled."
    written.say("appointment move K-017 2026-05-05 2026-05-04")
    # Those of the old day were cancelled and had never gone out: they wait again.
    assert write(written, TWO_BEFORE) == ["2 messages written."]
    assert send(written, TWO_BEFORE) == ["2 messages: 2 sent."]
    assert {m["state"] for m in outbox(written)} == {"sent"}


def test_a_family_that_agreed_to_nothing_is_listed_until_somebody_has_reached_it(
    asel: Clinic,
) -> None:
    asel.say('contact add K-017 --name "Gulnara T" --phone "+00 555 0118"')
    asel.say("appointment book K-017 2026-05-04")
    told = [
        "0 messages written.",
        "These families agreed to no message; please ring them:",
        "K-017  Asel T  2026-05-04  Gulnara T +00 555 0118",
    ]
    assert write(asel, THREE_BEFORE) == told
    asel.say("contact log K-017 --how phone --outcome no --next-try +1 --today 2026-05-01")
    assert write(asel, TWO_BEFORE) == told
    asel.say("contact log K-017 --how phone --outcome reached --today 2026-05-02")
    assert write(asel, TWO_BEFORE) == ["0 messages written."]


def test_children_of_one_family_are_named_so_that_it_knows_who_is_to_come(booked: Clinic) -> None:
    booked.say('child add K-018 --name "Bota T" --born 2024-03-01')
    booked.say(MOTHER.replace("K-017", "K-018"))
    booked.say("appointment book K-018 2026-05-04")
    assert write(booked, THREE_BEFORE) == ["4 messages written."]
    texts = sorted(m["text"] for m in outbox(booked) if m["way"] == "text message")
    assert [text.split(" has ")[0] for text in texts] == [
        "Harbour Eye Clinic: Asel",
        "Harbour Eye Clinic: Bota",
    ]


def test_a_language_without_a_template_is_told_and_one_that_the_clinic_adds_is_used(
    booked: Clinic,
) -> None:
    booked.say('child change K-017 --language kk --why "asked at the visit"')
    assert write(booked, THREE_BEFORE) == [
        "2 messages written.",
        "Written in English, as there is no template for the family's language:",
        "K-017  Asel T  kk",
        "Ring those who do not read it, or add clinic/reminder/xx.txt.",
    ]
    template = shipped("templates") / "reminder" / "en.txt"
    (booked.home / "reminder").mkdir()
    (booked.home / "reminder" / "kk.txt").write_text(
        template.read_text().replace('"Appointment"', '"Qabyldau"')
    )
    assert write(booked, ONE_BEFORE) == ["2 messages written."]
    titles = {(m["days_before"], "SUMMARY:Qabyldau" in m["calendar"]) for m in outbox(booked)}
    assert titles == {(3, False), (1, True)}


def test_the_list_names_each_message_so_that_a_person_can_settle_it(written: Clinic) -> None:
    head, *rows = written.say("reminder list").splitlines()
    assert head.split() == [
        "uid", "state", "since", "child", "appointment", "way", "address", "problem"
    ]  # fmt: skip
    assert len(rows) == 2
    assert all("waiting" in row and "K-017  2026-05-04" in row for row in rows)
    assert written.say("reminder list --state sent --state failed") == ""
    assert written.refuse("reminder settle zzz sent") == (
        "zzz: there is no such message. Give its letters as they are listed by: rehab reminder list"
    )
    assert written.refuse("reminder settle '' sent").startswith("there is no such message.")


def test_one_way_of_sending_must_be_chosen_and_a_mail_server_be_known(booked: Clinic) -> None:
    for given in ("", "--smtp --folder out"):
        assert "Choose one of --folder and --smtp." in booked.misuse(f"reminder send {given}")
    assert booked.refuse("reminder send --smtp") == (
        f"{booked.home}: the clinic file names no mail server. "
        "Write a part [smtp] with host and sender into clinic.toml."
    )


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ("reminder_days = [0]", "reminder_days must list whole days from 1 to 60, such as [3, 1]"),
        ("reminder_days = 3", "reminder_days must list whole days from 1 to 60, such as [3, 1]"),
        ("smtp = 1", "[smtp] must be a part of its own, with host and sender"),
        ('[smtp]\nhost = "a"', "[smtp] sender is missing"),
        ('[smtp]\nsender = "a@b.c"', "[smtp] host is missing"),
        ('[smtp]\nhost = "a"\nsender = "a"', "[smtp] sender must be an e-mail address"),
        ('[smtp]\nhost = "a b"\nsender = "a@b.c"', "[smtp] host must be text in quotes without"),
        ('[smtp]\nhost = "a"\nsender = "a@b.c"\nport = "25"', "[smtp] port must be a whole number"),
        (
            '[smtp]\nhost = "a"\nsender = "a@b.c"\nsecurity = "ssl"',
            "[smtp] security must be one of starttls, tls, none",
        ),
        (
            '[smtp]\nhost = "a"\nsender = "a@b.c"\npassword = "x"',
            "[smtp] password is not a setting (known: host, port, security, sender, user)",
        ),
    ],
)
def test_a_mistake_in_the_clinic_file_is_named(clinic: Clinic, wrong: str, words: str) -> None:
    with (clinic.home / "clinic.toml").open("a") as file:
        file.write(wrong)
    assert words in clinic.refuse("reminder write")
