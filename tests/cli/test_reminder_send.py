"""`rehab reminder send`: each message once, whatever a server, a kill or another sender does."""

import os
import signal
import subprocess
import sys
import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

from rehab.care.case import Appointment, Child
from rehab.care.contacts import Consent, Contact, Way
from rehab.care.messages import MessageState
from rehab.outbox_desk import Office, send_waiting, settle
from rehab.reminder_desk import write_due
from rehab.senders import SmtpSender
from rehab.settings import MailServer, Security, read_settings
from rehab.store.store import Stamp, open_store
from rehab.workflow import open_desk
from tests.cli.conftest import THREE_BEFORE, outbox, send, states, write
from tests.conftest import CLINIC_TOML, Clinic
from tests.mail_servers import (
    post_office,
    strange_server,
    until_the_message_is_given,
    wait_for_the_other_side,
)

ROOT = Path(__file__).parents[2]
STAMP = Stamp("M. Okoro", datetime(2026, 4, 20, 8, tzinfo=UTC), "as told")


def with_server(clinic: Clinic, port: int) -> None:
    (clinic.home / "clinic.toml").write_text(
        f'{CLINIC_TOML}[smtp]\nhost = "127.0.0.1"\nport = {port}\nsecurity = "none"\n'
        'sender = "clinic@example.org"\n'
    )


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


def test_of_a_message_given_to_a_server_that_broke_off_nobody_knows_until_a_person_says(
    written: Clinic,
) -> None:
    with strange_server(until_the_message_is_given) as port:
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
    assert written.refuse(f"reminder settle {uid} waiting") == (
        f"{unknown['uid'].partition('@')[0]}: this message may be on its way just now. "
        "Wait 10 minutes, and look again."
    )
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


def test_a_message_that_surely_did_not_go_out_can_be_given_free_after_a_while(
    written: Clinic,
) -> None:
    store = open_store(written.database_url)
    with store.transaction() as tx:
        first, _ = tx.outbox.messages()
        assert tx.outbox.change(first, MessageState.SENDING, STAMP.at)
        assert not tx.outbox.change(first, MessageState.SENT, STAMP.at), "seen in another state"
    late = Stamp("M. Okoro", STAMP.at + timedelta(minutes=10), "the server knows nothing of it")
    assert settle(store, first.name[:8], MessageState.WAITING, late).state is MessageState.WAITING
    store.close()
    assert send(written, THREE_BEFORE) == ["2 messages: 2 sent."]


CHILDREN, SENDERS = 8, 3


def test_several_senders_at_once_send_each_message_once(clinic: Clinic) -> None:
    store = open_store(clinic.database_url)
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
            office = Office(desk.store, desk.settings.clinic, today, lambda: at)
            return new, len(list(send_waiting(office, sender, [Way.EMAIL])))
        finally:
            desk.store.close()

    with post_office() as post, ThreadPoolExecutor(SENDERS) as pool:
        done = list(pool.map(work, [post.port] * SENDERS))
    assert [sum(column) for column in zip(*done, strict=True)] == [CHILDREN, CHILDREN]
    assert sorted(mail["To"] for mail in post.mails) == sorted(
        f"p{n}@example.org" for n in range(CHILDREN)
    )
