"""Whatever sends messages: a folder for another program to send from, and a mail server."""

import json
import re
import smtplib
import socket
import ssl
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import datetime
from email.errors import MessageError
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP as SMTP_POLICY
from email.utils import format_datetime
from ipaddress import ip_address
from pathlib import Path
from typing import Protocol

from rehab.care.contacts import Way
from rehab.care.messages import Message
from rehab.care.reminding import segments
from rehab.errors import NotSent, RehabError, SendError, SettingsError
from rehab.settings import MAIL_ADDRESS, MailServer, Security
from rehab.whole_files import write_whole

# Lines of a message stay below the 998 characters that RFC 5322 allows, in seven bits.
POLICY = SMTP_POLICY.clone(cte_type="7bit")
LEADING_DOT = re.compile(rb"^\.", re.MULTILINE)
LONGEST_ANSWER = 200
GOOD_BYE_SECONDS = 2
SEND_AGAIN = "It was not sent. Do it again later: rehab reminder send"
CHECK_SETTINGS = "Check [smtp] in the clinic file, or ask whoever runs the server."
CHECK_ADDRESS = "Check the address with the family, or ring them."
LOOK = "Look there or ask the family, then say what is so: rehab reminder settle"
# The first that fits, from the narrow to the wide.
WORDS: tuple[tuple[type[OSError], str, str], ...] = (
    (TimeoutError, "the mail server does not answer in time.", SEND_AGAIN),
    (
        smtplib.SMTPAuthenticationError,
        "the mail server does not accept this user and password.",
        "Check user in [smtp] and REHAB_SMTP_PASSWORD.",
    ),
    (
        smtplib.SMTPNotSupportedError,
        "the mail server does not offer what is needed to send safely (TLS, or a password).",
        CHECK_SETTINGS,
    ),
    (smtplib.SMTPServerDisconnected, "the mail server broke off.", SEND_AGAIN),
    (
        smtplib.SMTPException,
        "what answers here is not understood as a mail server.",
        CHECK_SETTINGS,
    ),
    (
        ssl.SSLCertVerificationError,
        "the mail server cannot prove who it is: its certificate is not trusted.",
        "Ask whoever runs it. Nothing was sent to it.",
    ),
    (ssl.SSLError, "the mail server does not speak TLS here.", CHECK_SETTINGS),
    (OSError, "the mail server cannot be reached.", "Check the address and the network."),
)


class Sender(Protocol):
    """Sends one message at a time; raises SendError, which says whether anything went out."""

    @property
    def ways(self) -> tuple[Way, ...]: ...

    def send(self, message: Message) -> None: ...


@dataclass(frozen=True, slots=True)
class FolderSender:
    """Writes each message as files of one name into `folder`, for another program to send.

    The text and the calendar file come first and the file that says whereto comes last: once that
    is there, the message is whole.
    """

    folder: Path
    ways: tuple[Way, ...] = (Way.TEXT, Way.EMAIL)

    def send(self, message: Message) -> None:
        name = message.name
        to: dict[str, str | int] = {
            "uid": message.uid,
            "way": message.way,
            "address": message.address,
            "subject": message.subject,
            "text": f"{name}.txt",
            "calendar": f"{name}.ics",
            "appointment_on": message.appointment_on.isoformat(),
        }
        if message.way is Way.TEXT:
            to["segments"] = segments(message.text)
        said = json.dumps(to, indent=2, ensure_ascii=False)
        try:
            write_whole(self.folder / f"{name}.txt", message.text.encode())
            write_whole(self.folder / f"{name}.ics", message.calendar.encode())
            write_whole(self.folder / f"{name}.json", f"{said}\n".encode())
        except RehabError as error:
            raise SendError(error.what, NotSent.NONE_NOW, where=error.where, do=error.do) from error


@dataclass(frozen=True, slots=True)
class SmtpSender:
    """Sends e-mails through a mail server (RFC 5321), each with its calendar file.

    A step of the server may take `step_seconds` and one message `message_seconds` in all.
    """

    server: MailServer
    clinic: str
    at: datetime
    password: str = field(default="", repr=False)
    step_seconds: float = 20
    message_seconds: float = 60
    context: ssl.SSLContext = field(default_factory=ssl.create_default_context)
    ways: tuple[Way, ...] = (Way.EMAIL,)

    def __post_init__(self) -> None:
        try:
            Address(addr_spec=self.server.sender)
        except (ValueError, MessageError, IndexError):
            raise SettingsError(
                f"{self.server.sender!r} is not an e-mail address.", where="[smtp] sender"
            ) from None
        secret = self.server.user and self.server.security is Security.NONE
        if secret and not _is_loopback(self.server.host):
            raise SettingsError(
                "the password would go over the network in the open.",
                where="[smtp]",
                do='Set security = "starttls" or "tls".',
            )

    @property
    def where(self) -> str:
        return f"{self.server.host}:{self.server.port}"

    @property
    def domain(self) -> str:
        return self.server.sender.rpartition("@")[2]

    def send(self, message: Message) -> None:
        content = _content(message, self).as_bytes()
        with self._connected() as connection:
            self._need(connection.mail(self.server.sender))
            self._refuse_unless(250, connection.rcpt(message.address))
            self._refuse_unless(354, connection.docmd("DATA"))
            self._hand_over(connection, content)
            # It is sent, whether or not the server says good-bye.
            with suppress(OSError):
                assert connection.sock is not None
                connection.sock.settimeout(min(self.step_seconds, GOOD_BYE_SECONDS))
                connection.quit()

    def _hand_over(self, connection: smtplib.SMTP, content: bytes) -> None:
        """RFC 5321, 4.5.2: each line's leading dot is doubled; a dot alone ends the message.

        From here on the server may have taken it, until its answer says so or says no.
        """
        try:
            connection.send(LEADING_DOT.sub(b"..", content) + b".\r\n")
            answer = connection.getreply()
        except OSError as error:
            raise self._unknown() from error
        if answer[0] // 100 not in (2, 4, 5):
            raise self._unknown()
        self._refuse_unless(250, answer)

    def _unknown(self) -> SendError:
        return SendError(
            "the mail server was given the message and did not say whether it took it.",
            NotSent.UNKNOWN,
            where=self.where,
            do=LOOK,
        )

    @contextmanager
    def _connected(self) -> Iterator[smtplib.SMTP]:
        """A connection over which messages can be given; it is cut off when its time is over."""
        connection = self._unconnected()
        over, cut = threading.Event(), threading.Event()
        watch = threading.Thread(
            target=_cut_off, args=(connection, self.message_seconds, over, cut), daemon=True
        )
        watch.start()
        try:
            self._need(connection.connect(self.server.host, self.server.port))
            connection.ehlo_or_helo_if_needed()
            if self.server.security is Security.STARTTLS:
                self._need(connection.starttls(context=self.context))
            if self.server.user:
                connection.login(self.server.user, self.password)
            yield connection
        except OSError as error:
            raise self._in_words(error, late=cut.is_set()) from error
        finally:
            over.set()
            watch.join()
            connection.close()

    def _unconnected(self) -> smtplib.SMTP:
        name, wait = self.domain, self.step_seconds
        if self.server.security is Security.TLS:
            made: smtplib.SMTP = smtplib.SMTP_SSL(
                local_hostname=name, timeout=wait, context=self.context
            )
        else:
            made = smtplib.SMTP(local_hostname=name, timeout=wait)
        # What TLS must prove; the library takes it only where it may connect at once.
        made._host = self.server.host  # type: ignore[attr-defined]
        return made

    def _in_words(self, error: OSError, *, late: bool) -> SendError:
        # The library calls a wait that was too long a connection that was lost.
        late = late or isinstance(error.__context__, TimeoutError)
        seen = TimeoutError() if late else error
        what, do = next((what, do) for kind, what, do in WORDS if isinstance(seen, kind))
        return SendError(what, NotSent.NONE_NOW, where=self.where, do=do)

    def _need(self, answer: tuple[int, bytes]) -> None:
        """What the server must grant before any message can be sent."""
        if answer[0] // 100 != 2:
            said = f"the mail server refused ({_said(answer)})."
            raise SendError(said, NotSent.NONE_NOW, where=self.where, do=CHECK_SETTINGS)

    def _refuse_unless(self, wanted: int, answer: tuple[int, bytes]) -> None:
        """RFC 5321, 4.2.1: 4 in front means for now, 5 for good; 421: the server goes away."""
        code, said = answer[0], f"the mail server did not take the message ({_said(answer)})."
        if code // 100 == wanted // 100:
            return
        if code // 100 == 5:
            raise SendError(said, NotSent.REFUSED, where=self.where, do=CHECK_ADDRESS)
        later = NotSent.LATER if code // 100 == 4 and code != 421 else NotSent.NONE_NOW
        raise SendError(said, later, where=self.where, do=SEND_AGAIN)


def _cut_off(
    connection: smtplib.SMTP, seconds: float, over: threading.Event, cut: threading.Event
) -> None:
    """Ends what waits for the server, which could else go on for as long as it sends anything."""
    wait = seconds
    while not over.wait(wait):
        cut.set()
        wait = 0.1
        with suppress(OSError):
            if connection.sock:
                socket.socket.shutdown(connection.sock, socket.SHUT_RDWR)


def _content(message: Message, sender: SmtpSender) -> EmailMessage:
    """RFC 5322: the e-mail, the same bytes whenever it is made at the same time."""
    mail = EmailMessage(POLICY)
    try:
        if not MAIL_ADDRESS.fullmatch(message.address):
            raise ValueError(message.address)
        clinic = " ".join(sender.clinic.split())
        mail["From"] = Address(clinic, addr_spec=sender.server.sender)
        mail["To"] = Address(addr_spec=message.address)
        mail["Subject"] = message.subject
    except (ValueError, MessageError, IndexError):
        raise SendError(
            f"{message.address!r} is not an e-mail address that a mail server takes.",
            NotSent.REFUSED,
            where=message.child_number,
            do=CHECK_ADDRESS,
        ) from None
    mail["Date"] = format_datetime(sender.at)
    mail["Message-ID"] = f"<{message.name}@{sender.domain}>"
    mail["Auto-Submitted"] = "auto-generated"
    mail.set_content(message.text)
    mail.add_attachment(message.calendar, subtype="calendar", filename="appointment.ics")
    mail.set_boundary(f"={message.name}")
    return mail


def _said(answer: tuple[int, bytes]) -> str:
    code, text = answer
    words = " ".join(text.decode("utf-8", "replace").split())
    plain = "".join(c for c in words if c.isprintable())[:LONGEST_ANSWER]
    return f"it answered {code} {plain}".strip() if code > 0 else "it does not answer as one"


def _is_loopback(host: str) -> bool:
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"
