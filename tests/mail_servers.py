"""Mail servers on loopback to send through: a real one, and some that misbehave."""

import socket
import ssl
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from email import message_from_bytes
from email.message import EmailMessage
from email.policy import default
from typing import Any

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult, LoginPassword

USER, PASSWORD = "desk", "drum-kettle-42"


class _OnAnyPort(Controller):
    def _trigger_server(self) -> None:
        server: Any = self.server
        self.port = server.sockets[0].getsockname()[1]
        super()._trigger_server()  # type: ignore[no-untyped-call]


@dataclass
class Post:
    """What a real server was given, and what it shall answer in place of what it would.

    `answers` are by the command, such as RCPT, or DATA for its answer to the whole message.
    """

    port: int = 0
    answers: dict[str, str] = field(default_factory=dict)
    taken: list[tuple[str, tuple[str, ...], bytes]] = field(default_factory=list)
    logins: list[str] = field(default_factory=list)

    @property
    def mails(self) -> list[EmailMessage]:
        read = [message_from_bytes(content, policy=default) for _, _, content in self.taken]
        assert all(isinstance(mail, EmailMessage) for mail in read)
        return read

    async def handle_MAIL(  # noqa: N802
        self, _: Any, __: Any, envelope: Any, address: str, ___: Any
    ) -> str:
        if "MAIL" not in self.answers:
            envelope.mail_from = address
        return self.answers.get("MAIL", "250 OK")

    async def handle_RCPT(  # noqa: N802
        self, _: Any, __: Any, envelope: Any, address: str, ___: Any
    ) -> str:
        if "RCPT" not in self.answers:
            envelope.rcpt_tos.append(address)
        return self.answers.get("RCPT", "250 OK")

    async def handle_DATA(  # noqa: N802
        self, _: Any, __: Any, envelope: Any
    ) -> str:
        if "DATA" not in self.answers:
            self.taken.append(
                (envelope.mail_from, tuple(envelope.rcpt_tos), envelope.original_content)
            )
        return self.answers.get("DATA", "250 taken")

    def authenticate(self, _: Any, session: Any, __: Any, ___: str, data: Any) -> AuthResult:
        assert isinstance(data, LoginPassword)
        good = (data.login.decode(), data.password.decode()) == (USER, PASSWORD)
        self.logins.append(data.login.decode())
        return AuthResult(success=good, handled=False)


@contextmanager
def post_office(
    tls: ssl.SSLContext | None = None, *, from_the_start: bool = False, logins: bool = False
) -> Iterator[Post]:
    """A real mail server; with `tls` it speaks that once asked, or from the start."""
    post = Post()
    given: dict[str, Any] = {"ssl_context": tls} if from_the_start else {"tls_context": tls}
    if logins:
        given |= {
            "authenticator": post.authenticate,
            "auth_require_tls": tls is not None and not from_the_start,
        }
    controller = _OnAnyPort(post, hostname="127.0.0.1", port=0, server_hostname="post", **given)
    controller.start()
    try:
        post.port = controller.port
        yield post
    finally:
        controller.stop()


@contextmanager
def strange_server(talk: Callable[[socket.socket], None]) -> Iterator[int]:
    """A server that does to each that connects what `talk` says, and the port it listens on."""
    with socket.create_server(("127.0.0.1", 0)) as listening:

        def serve() -> None:
            with suppress(OSError):
                while True:
                    connection, _ = listening.accept()
                    with connection, suppress(OSError):
                        talk(connection)

        thread = threading.Thread(target=serve, daemon=True)
        thread.start()
        try:
            yield listening.getsockname()[1]
        finally:
            listening.shutdown(socket.SHUT_RDWR)
    thread.join(5)


def until_the_message_is_given(connection: socket.socket) -> None:
    """Speaks as a mail server does until the dot that ends the message, and leaves it at that."""
    connection.sendall(b"220 post ESMTP\r\n")
    lines = connection.makefile("rb")
    for line in lines:
        command = line[:4].upper()
        if line == b".\r\n":
            return
        if command == b"DATA":
            connection.sendall(b"354 go on\r\n")
        elif command in (b"EHLO", b"MAIL", b"RCPT"):
            connection.sendall(b"250 OK\r\n")


def wait_for_the_other_side(connection: socket.socket) -> None:
    while connection.recv(4096):
        pass
