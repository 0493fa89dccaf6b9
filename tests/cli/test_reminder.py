"""`rehab reminder`: from a booked appointment to a message that went out once, or never."""

import json
import os
import shutil
import signal
import subprocess
import sys
import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
from ical.calendar_stream import IcsCalendarStream

from rehab.care.case import Appointment, Child
from rehab.care.contacts import Consent, Contact, Way
from rehab.care.diary import Closure, SessionPattern, Site
from rehab.outbox_desk import Office, send_waiting
from rehab.reminder_desk import write_due
from rehab.senders import SmtpSender
from rehab.settings import MailServer, Security, read_settings
from rehab.store.store import Stamp, open_store
from rehab.workflow import open_desk
from tests.conftest import CLINIC_TOML, Clinic
from tests.letters.test_reminder import TELLING_WORD
from tests.mail_servers import (
    post_office,
    strange_server,
    until_the_message_is_given,
    wait_for_the_other_side,
)

ROOT = Path(__file__).parents[2]
THREE_BEFORE, TWO_BEFORE, ONE_BEFORE, THE_DAY = (f"2026-05-0{day}" for day in (1, 2, 3, 4))
STAMP = Stamp("M. Okoro", datetime(2026, 4, 20, 8, tzinfo=UTC), "as told")
MOTHER = (
    'contact add K-017 --name "Aigul T" --relation mother --phone "+00 555 0118" '
    "--email aigul@example.org --text-consent yes --email-consent yes"
)


@pytest.fixture(scope="module")
def booked_home(asel_home: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    clinic = Clinic(shutil.copytree(asel_home, tmp_path_factory.mktemp("booked") / "clinic"))
    clinic.say(MOTHER)
    clinic.say("appointment book K-017 2026-05-04")
    return clinic.home


@pytest.fixture(scope="module")
def written_home(booked_home: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    clinic = Clinic(shutil.copytree(booked_home, tmp_path_factory.mktemp("written") / "clinic"))
    assert write(clinic, THREE_BEFORE) == ["2 messages written."]
    return clinic.home


@pytest.fixture
def written(written_home: Path, tmp_path: Path) -> Clinic:
    """As `booked`, and on 1 May both messages were written to the outbox."""
    return Clinic(shutil.copytree(written_home, tmp_path / "clinic"))


@pytest.fixture
def booked(booked_home: Path, tmp_path: Path) -> Clinic:
    """K-017 is booked on Monday, 4 May; its mother agreed to texts and e-mails."""
    return Clinic(shutil.copytree(booked_home, tmp_path / "clinic"))


def write(clinic: Clinic, today: str) -> list[str]:
    return clinic.say(f"reminder write --today {today}").splitlines()


def send(clinic: Clinic, today: str, more: str = "") -> list[str]:
    out = clinic.home.parent / "out"
    return clinic.say(f"reminder send --folder '{out}' --today {today} {more}").splitlines()


def outbox(clinic: Clinic, more: str = "") -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads(clinic.say(f"reminder list --json {more}"))
    return found


def states(clinic: Clinic) -> list[tuple[str, int, str]]:
    return sorted((m["way"], m["days_before"], m["state"]) for m in outbox(clinic))


def gone_out(clinic: Clinic) -> list[str]:
    """What whoever sends from the folder finds in it."""
    return sorted(
        json.loads(path.read_text())["way"] for path in (clinic.home.parent / "out").glob("*.json")
    )


def with_server(clinic: Clinic, port: int) -> None:
    (clinic.home / "clinic.toml").write_text(
        f'{CLINIC_TOML}[smtp]\nhost = "127.0.0.1"\nport = {port}\nsecurity = "none"\n'
        'sender = "clinic@example.org"\n'
    )


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
    desk = open_desk(read_settings(booked.home))
    with desk.store.transaction() as tx:
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
    with desk.store.transaction() as tx:
        tx.add_to_diary(Closure("one", date(2026, 5, 4), date(2026, 5, 5), "staff training"), STAMP)
    desk.store.close()
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
        "K-017  kk",
    ]
    template = ROOT / "templates" / "reminder" / "en.txt"
    (booked.home / "reminder").mkdir()
    (booked.home / "reminder" / "kk.txt").write_text(
        template.read_text().replace('"Appointment"', '"Qabyldau"')
    )
    assert write(booked, ONE_BEFORE) == ["2 messages written."]
    titles = {(m["days_before"], "SUMMARY:Qabyldau" in m["calendar"]) for m in outbox(booked)}
    assert titles == {(3, False), (1, True)}


def test_only_texts_or_only_emails_can_be_sent(written: Clinic) -> None:
    assert send(written, THREE_BEFORE, "--only texts") == ["1 message: 1 sent."]
    assert states(written) == [("e-mail", 3, "waiting"), ("text message", 3, "sent")]
    assert send(written, THREE_BEFORE, "--only e-mails") == ["1 message: 1 sent."]


def test_a_real_mail_server_is_given_the_email_once_and_never_the_text(written: Clinic) -> None:
    with post_office() as post:
        with_server(written, post.port)
        for said in ("1 message: 1 sent.\n", "0 messages.\n"):
            assert written.say(f"reminder send --smtp --today {THREE_BEFORE}") == said
    (mail,) = post.mails
    assert (mail["To"], mail["Subject"]) == ("aigul@example.org", "Appointment on Monday 4 May")
    assert states(written) == [("e-mail", 3, "sent"), ("text message", 3, "waiting")]


def test_a_refused_address_fails_and_one_refused_for_now_waits(written: Clinic) -> None:
    again = f"reminder send --smtp --today {THREE_BEFORE}"
    with post_office() as post:
        with_server(written, post.port)
        post.answers["RCPT"] = "450 busy"
        first, counts = written.say(again).splitlines()
        assert first.endswith("the mail server did not take the message (it answered 450 busy).")
        assert counts == "1 message: 1 waiting."
        post.answers["RCPT"] = "550 no such mailbox"
        assert written.say(again).splitlines()[-1] == "1 message: 1 failed."
        post.answers.clear()
        assert written.say(again) == "0 messages.\n"
        (failed,) = outbox(written, "--state failed")
        assert failed["problem"].endswith("(it answered 550 no such mailbox).")
        said = written.say(
            f'reminder settle {failed["uid"][:8]} waiting --why "the server was ill"'
        )
        assert said == f"Recorded {failed['uid'][:12]}: waiting.\n"
        assert written.say(again) == "1 message: 1 sent.\n"


def test_a_server_that_is_away_leaves_everything_waiting(written: Clinic) -> None:
    with_server(written, 9)
    result = written.run(f"reminder send --smtp --today {THREE_BEFORE}")
    assert (result.exit_code, result.stdout) == (1, "0 messages.\n")
    assert result.stderr == (
        "Error: 127.0.0.1:9: the mail server cannot be reached. "
        "Check the address and the network.\n"
    )
    assert states(written) == [("e-mail", 3, "waiting"), ("text message", 3, "waiting")]


def drops(connection: Any) -> None:
    until_the_message_is_given(connection)


def test_of_a_message_given_to_a_server_that_broke_off_nobody_knows_until_a_person_says(
    written: Clinic,
) -> None:
    with strange_server(drops) as port:
        with_server(written, port)
        result = written.run(f"reminder send --smtp --today {THREE_BEFORE}")
    assert result.exit_code == 1
    assert "was given the message and did not say whether it took it." in result.stderr
    with post_office() as post:
        with_server(written, post.port)
        said = written.say(f"reminder send --smtp --today {THREE_BEFORE}").splitlines()
        assert said == [
            "0 messages.",
            '1 message "sending": nobody knows whether it went out. '
            "See: rehab reminder list --state sending",
        ]
        assert write(written, THREE_BEFORE) == ["0 messages written; 2 there already."]
        assert post.taken == []
    (unknown,) = outbox(written, "--state sending")
    uid = unknown["uid"][:12]
    assert written.say(f'reminder settle {uid} sent --why "the mother has it"') == (
        f"Recorded {uid}: sent.\n"
    )
    (known,) = outbox(written, "--state sent")
    assert known["problem"] == "sent according to M. Okoro: the mother has it"
    assert written.refuse(f"reminder settle {uid} failed") == (
        f"{unknown['uid'].partition('@')[0]}: this message is sent: nothing about it is open. "
        "Look at it with: rehab reminder list"
    )


def test_killed_between_claim_and_result_a_message_is_never_sent_again_by_itself(
    written: Clinic,
) -> None:
    given = threading.Event()

    def hangs(connection: Any) -> None:
        until_the_message_is_given(connection)
        given.set()
        wait_for_the_other_side(connection)

    with strange_server(hangs) as port:
        with_server(written, port)
        running = subprocess.Popen(
            [sys.executable, "-c", "from rehab.cli.main import rehab; rehab()", "--home",
             str(written.home), "reminder", "send", "--smtp", "--today", THREE_BEFORE],
            cwd=ROOT, env={**os.environ, "PYTHONDONTWRITEBYTECODE": "1"},
        )  # fmt: skip
        try:
            assert given.wait(20)
        finally:
            running.send_signal(signal.SIGKILL)
            running.wait()
    assert states(written) == [("e-mail", 3, "sending"), ("text message", 3, "waiting")]
    with post_office() as post:
        with_server(written, post.port)
        assert written.say(f"reminder send --smtp --today {THREE_BEFORE}").startswith("0 messages.")
    assert post.taken == []


CHILDREN, SENDERS = 8, 3


def test_several_senders_at_once_send_each_message_once(clinic: Clinic) -> None:
    store = open_store(f"sqlite:///{clinic.home / 'rehab.db'}")
    with store.transaction() as tx:
        for n in range(CHILDREN):
            tx.add(f"M-{n:03}", Child(f"M-{n:03}", f"Child {n}", date(2024, 1, 1)), STAMP)
            contact = Contact("", "Parent", email=f"p{n}@example.org", email_consent=Consent.YES)
            tx.add(f"M-{n:03}", contact, STAMP)
            tx.add(f"M-{n:03}", Appointment("", date(2026, 5, 4)), STAMP)
    store.close()
    today, at = date(2026, 5, 1), STAMP.at

    def work(port: int) -> tuple[int, int]:
        desk = open_desk(read_settings(clinic.home))
        server = MailServer("127.0.0.1", "clinic@example.org", port, Security.NONE)
        try:
            new = len(write_due(desk, today=today, at=at).new)
            sender = SmtpSender(server, "Harbour Eye Clinic", at)
            office = Office(desk.store, desk.settings.clinic, today, at)
            return new, len(list(send_waiting(office, sender, [Way.EMAIL])))
        finally:
            desk.store.close()

    with post_office() as post, ThreadPoolExecutor(SENDERS) as pool:
        done = list(pool.map(work, [post.port] * SENDERS))
    assert [sum(column) for column in zip(*done, strict=True)] == [CHILDREN, CHILDREN]
    assert sorted(mail["To"] for mail in post.mails) == sorted(
        f"p{n}@example.org" for n in range(CHILDREN)
    )


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
