"""Messages sent through a folder and through mail servers that behave and that do not."""

import json
import shutil
import socket
import ssl
import subprocess
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
from ical.calendar_stream import IcsCalendarStream

from rehab.care.contacts import Way
from rehab.care.messages import Message
from rehab.errors import NotSent, SendError, SettingsError
from rehab.senders import FolderSender, Sender, SmtpSender
from rehab.settings import MailServer, Security
from tests.mail_servers import (
    PASSWORD,
    USER,
    post_office,
    strange_server,
    until_the_message_is_given,
    wait_for_the_other_side,
)

AT = datetime(2026, 5, 1, 7, 30, tzinfo=UTC)
CALENDAR = (
    "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//Rehab//Test//EN\r\nBEGIN:VEVENT\r\n"
    "UID:one@rehab\r\nDTSTAMP:20260501T000000Z\r\nDTSTART:20260504T084000Z\r\n"
    "SUMMARY:Qabyldaw ýaqyty\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n"
)
EMAIL = Message(
    uid="4b850e99279f881a3c7c744f5f787d3f@rehab",
    child_number="K-017",
    appointment="K-017/A1",
    appointment_on=date(2026, 5, 4),
    days_before=3,
    way=Way.EMAIL,
    address="aigul@example.org",
    subject="Appointment on Monday 4 May",
    text="Hello,\n\n.a line that begins with a dot\n.\nGood-bye",
    calendar=CALENDAR,
)
TEXT = replace(EMAIL, way=Way.TEXT, address="+00 555 0117", text="Harbour Eye Clinic: Monday 4 May")


def sender_at(port: int, **given: Any) -> SmtpSender:
    server = MailServer("127.0.0.1", "clinic@example.org", port, Security.NONE)
    server = replace(server, **{k: given.pop(k) for k in ("security", "user") if k in given})
    return SmtpSender(
        server, "Harbour Eye Clinic", AT, **{"step_seconds": 2, "message_seconds": 5, **given}
    )


def refused(sender: Sender, message: Message = EMAIL) -> SendError:
    with pytest.raises(SendError) as caught:
        sender.send(message)
    assert "\n" not in str(caught.value)
    return caught.value


def test_a_real_server_is_given_the_words_and_the_calendar_file() -> None:
    with post_office() as post:
        sender_at(post.port).send(EMAIL)
    (envelope,), (mail,) = post.taken, post.mails
    assert envelope[:2] == ("clinic@example.org", ("aigul@example.org",))
    assert {name: str(mail[name]) for name in ("From", "To", "Subject", "Message-ID")} == {
        "From": "Harbour Eye Clinic <clinic@example.org>",
        "To": "aigul@example.org",
        "Subject": "Appointment on Monday 4 May",
        "Message-ID": "<4b850e99279f881a3c7c744f5f787d3f@example.org>",
    }
    assert mail["Date"].datetime == AT
    # RFC 3834, 5: so that no out-of-office reply answers it.
    assert mail["Auto-Submitted"] == "auto-generated"
    words = mail.get_body(("plain",))
    assert words is not None
    assert words.get_content().splitlines() == EMAIL.text.splitlines()
    (attached,) = mail.iter_attachments()
    assert (attached.get_content_type(), attached.get_filename()) == (
        "text/calendar",
        "appointment.ics",
    )
    (event,) = IcsCalendarStream.calendar_from_ics(attached.get_content()).events
    assert event.summary == "Qabyldaw ýaqyty"


def test_words_of_any_script_arrive_in_seven_bits() -> None:
    message = replace(EMAIL, text="Сәлеметсіз бе! " * 40, subject="Қабылдау: дүйсенбі, 4 мамыр")
    with post_office() as post:
        replace(sender_at(post.port), clinic="Көз\nклиникасы").send(message)
    ((_, _, content),), (mail,) = post.taken, post.mails
    assert content.isascii()
    # RFC 5322, 2.1.1.
    assert max(map(len, content.splitlines())) <= 998
    assert (mail["Subject"], mail["From"]) == (
        message.subject,
        "Көз клиникасы <clinic@example.org>",
    )
    words = mail.get_body(("plain",))
    assert words is not None
    assert words.get_content().strip() == message.text.strip()


def test_the_same_message_is_the_same_bytes() -> None:
    with post_office() as post:
        sender_at(post.port).send(EMAIL)
        sender_at(post.port).send(EMAIL)
    assert post.taken[0] == post.taken[1]


@pytest.mark.parametrize(
    "address",
    [
        "aigul@example.org\r\nBcc: other@example.org",
        "aigul@example.org, other@example.org",
        "<aigul@example.org>",
        "aigul example.org",
        "әйгүл@example.org",
        "aigul@",
        "",
    ],
)
def test_an_address_that_is_none_is_refused_before_any_server_is_asked(address: str) -> None:
    error = refused(sender_at(9), replace(EMAIL, address=address))
    assert error.meaning is NotSent.REFUSED
    assert str(error) == (
        f"K-017: {address!r} is not an e-mail address that a mail server takes. "
        "Check the address with the family, or ring them."
    )


def test_no_header_can_be_slipped_into_a_message() -> None:
    error = refused(sender_at(9), replace(EMAIL, subject="Hello\r\nBcc: other@example.org"))
    assert error.meaning is NotSent.REFUSED


@pytest.mark.parametrize(
    ("command", "answer", "meaning"),
    [
        ("RCPT", "550 no such mailbox", NotSent.REFUSED),
        ("RCPT", "450 mailbox busy", NotSent.LATER),
        ("RCPT", "421 going away", NotSent.NONE_NOW),
        ("DATA", "554 not wanted", NotSent.REFUSED),
        ("DATA", "452 no room", NotSent.LATER),
        ("DATA", "421 going away", NotSent.NONE_NOW),
        ("MAIL", "550 who are you", NotSent.NONE_NOW),
        ("MAIL", "451 try again", NotSent.NONE_NOW),
    ],
)
def test_what_a_server_refuses_is_told_with_its_answer(
    command: str, answer: str, meaning: NotSent
) -> None:
    with post_office() as post:
        post.answers[command] = answer
        error = refused(sender_at(post.port))
        assert error.meaning is meaning
        assert f"(it answered {answer})" in error.what
        assert post.taken == []
        post.answers.clear()
        sender_at(post.port).send(EMAIL)
        assert len(post.taken) == 1


def test_a_server_that_is_away_is_told() -> None:
    with socket.create_server(("127.0.0.1", 0)) as listening:
        port = listening.getsockname()[1]
    error = refused(sender_at(port))
    assert error.meaning is NotSent.NONE_NOW
    assert str(error) == (
        f"127.0.0.1:{port}: the mail server cannot be reached. Check the address and the network."
    )


def says(what: bytes) -> Callable[[socket.socket], None]:
    def talk(connection: socket.socket) -> None:
        connection.sendall(what)

    return talk


def drips(connection: socket.socket) -> None:
    for _ in range(100):
        connection.sendall(b"2")
        time.sleep(0.05)


@pytest.mark.parametrize(
    ("talk", "words"),
    [
        (wait_for_the_other_side, "the mail server does not answer in time."),
        (drips, "the mail server does not answer in time."),
        (says(b""), "the mail server broke off."),
        (says(b"220 post\r\n"), "the mail server broke off."),
        (says(b"HTTP/1.1 400 Bad Request\r\n\r\n"), "the mail server refused (it does not answer"),
        (says(b"554 not for you\r\n"), "the mail server refused (it answered 554 not for you)."),
        (says(b"220 " + b"x" * 9000), "what answers here is not understood as a mail server."),
        (says(b"554 \x1b[2J\xff\r\n"), "the mail server refused (it answered 554 [2J�)."),
    ],
)
def test_a_server_that_answers_late_wrongly_or_not_at_all_has_been_given_nothing(
    talk: Callable[[socket.socket], None], words: str
) -> None:
    with strange_server(talk) as port:
        began = time.monotonic()
        error = refused(sender_at(port, step_seconds=0.2, message_seconds=0.3))
    assert error.what.startswith(words)
    assert error.meaning is NotSent.NONE_NOW
    assert time.monotonic() - began < 2


def hangs(connection: socket.socket) -> None:
    until_the_message_is_given(connection)
    wait_for_the_other_side(connection)


def answers_nonsense(connection: socket.socket) -> None:
    until_the_message_is_given(connection)
    connection.sendall(b"hm\r\n")


@pytest.mark.parametrize("talk", [hangs, until_the_message_is_given, answers_nonsense])
def test_once_the_message_is_given_silence_means_that_nobody_knows(
    talk: Callable[[socket.socket], None],
) -> None:
    with strange_server(talk) as port:
        error = refused(sender_at(port, step_seconds=0.3))
    assert error.meaning is NotSent.UNKNOWN
    assert str(error) == (
        f"127.0.0.1:{port}: the mail server was given the message and did not say whether it took "
        "it. Look there or ask the family, then say what is so: rehab reminder settle"
    )


def test_a_server_that_says_yes_and_no_good_bye_has_taken_it() -> None:
    def talk(connection: socket.socket) -> None:
        until_the_message_is_given(connection)
        connection.sendall(b"250 taken\r\n")
        wait_for_the_other_side(connection)

    with strange_server(talk) as port:
        sender_at(port, step_seconds=0.3).send(EMAIL)


@pytest.fixture(scope="module")
def certificate(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A certificate for 127.0.0.1 with its key, made for this run."""
    if not shutil.which("openssl"):
        pytest.skip("openssl is not installed")
    made = tmp_path_factory.mktemp("tls") / "server.pem"
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1",
         "-nodes", "-days", "2", "-subj", "/CN=post", "-addext", "subjectAltName=IP:127.0.0.1",
         "-keyout", str(made), "-out", f"{made}.crt"],
        check=True, capture_output=True,
    )  # fmt: skip
    with made.open("a") as both:
        both.write(Path(f"{made}.crt").read_text())
    return made


def of_the_server(certificate: Path) -> ssl.SSLContext:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificate)
    return context


@pytest.mark.parametrize("security", [Security.STARTTLS, Security.TLS])
def test_a_password_goes_only_through_tls_to_a_server_that_proves_who_it_is(
    certificate: Path, security: Security
) -> None:
    tls = of_the_server(certificate)
    known = {"security": security, "user": USER, "password": PASSWORD}
    with post_office(tls, from_the_start=security is Security.TLS, logins=True) as post:
        untrusted = refused(sender_at(post.port, **known))
        assert untrusted.what == (
            "the mail server cannot prove who it is: its certificate is not trusted."
        )
        assert post.logins == []
        trusting = ssl.create_default_context(cafile=f"{certificate}.crt")
        wrong = refused(sender_at(post.port, **{**known, "password": "x"}, context=trusting))
        assert str(wrong).endswith(
            "the mail server does not accept this user and password. "
            "Check user in [smtp] and REHAB_SMTP_PASSWORD."
        )
        sender_at(post.port, **known, context=trusting).send(EMAIL)
    assert len(post.taken) == 1
    assert {untrusted.meaning, wrong.meaning} == {NotSent.NONE_NOW}


def test_without_tls_a_server_that_must_have_it_is_told_no_password() -> None:
    with post_office(logins=True) as post:
        error = refused(
            sender_at(post.port, security=Security.STARTTLS, user=USER, password=PASSWORD)
        )
    assert error.what.startswith("the mail server does not offer what is needed to send safely")
    assert (post.logins, post.taken) == ([], [])


def test_tls_from_the_start_with_a_server_that_greets_in_the_open_is_told() -> None:
    with post_office() as post:
        error = refused(sender_at(post.port, security=Security.TLS))
    assert error.what == "the mail server does not speak TLS here."
    assert error.meaning is NotSent.NONE_NOW


def test_on_this_machine_a_password_may_go_without_tls() -> None:
    with post_office(logins=True) as post:
        sender_at(post.port, user=USER, password=PASSWORD).send(EMAIL)
    assert (len(post.taken), post.logins) == (1, [USER])


def test_a_password_in_the_open_over_the_network_is_refused() -> None:
    server = MailServer("mail.example.org", "clinic@example.org", 25, Security.NONE, USER)
    with pytest.raises(SettingsError) as caught:
        SmtpSender(server, "Harbour Eye Clinic", AT, PASSWORD)
    assert str(caught.value) == (
        "[smtp]: the password would go over the network in the open. "
        'Set security = "starttls" or "tls".'
    )
    assert PASSWORD not in repr(sender_at(9, password=PASSWORD))


def test_a_server_whose_name_nobody_knows_cannot_be_reached() -> None:
    server = MailServer("mail.invalid", "clinic@example.org")
    error = refused(SmtpSender(server, "Harbour Eye Clinic", AT))
    assert error.what == "the mail server cannot be reached."


def test_a_folder_is_given_the_words_the_calendar_and_then_whereto(tmp_path: Path) -> None:
    sender = FolderSender(tmp_path / "out")
    for message in (TEXT, replace(EMAIL, uid="0abc@rehab")):
        sender.send(message)
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == [
        *(f"0abc.{kind}" for kind in ("ics", "json", "txt")),
        *(f"{TEXT.name}.{kind}" for kind in ("ics", "json", "txt")),
    ]
    to = json.loads((tmp_path / "out" / f"{TEXT.name}.json").read_text())
    assert to == {
        "uid": TEXT.uid,
        "way": "text message",
        "address": "+00 555 0117",
        "subject": "Appointment on Monday 4 May",
        "text": f"{TEXT.name}.txt",
        "calendar": f"{TEXT.name}.ics",
        "appointment_on": "2026-05-04",
        "segments": 1,
    }
    assert (tmp_path / "out" / to["text"]).read_text() == TEXT.text
    assert (tmp_path / "out" / to["calendar"]).read_bytes() == CALENDAR.encode()


def test_a_folder_that_cannot_be_written_is_told_and_nothing_counts_as_sent(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("a file")
    error = refused(FolderSender(tmp_path / "out"), TEXT)
    assert error.meaning is NotSent.NONE_NOW
    assert str(error).startswith(f"{tmp_path / 'out'}")


def test_every_sender_says_which_ways_it_knows() -> None:
    senders: tuple[Sender, ...] = (FolderSender(Path("out")), sender_at(9))
    assert [sender.ways for sender in senders] == [(Way.TEXT, Way.EMAIL), (Way.EMAIL,)]
