"""Calendar servers on loopback to publish to: a real one, and some that misbehave."""

import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from socketserver import ThreadingMixIn
from typing import Any
from wsgiref.simple_server import WSGIRequestHandler, WSGIServer, make_server

from radicale import config
from radicale.app import Application

USER, PASSWORD = "desk", "drum-kettle-42"
Wsgi = Callable[[dict[str, Any], Any], Any]


class _Threads(ThreadingMixIn, WSGIServer):
    daemon_threads = True


class _Silent(WSGIRequestHandler):
    def log_message(self, format: str, *args: Any) -> None:
        pass


@dataclass
class CalDav:
    """A real server, whose files a test may change as another person's program would.

    `asked` are the requests it had; `answer`, when a test sets it, answers in its place.
    """

    folder: Path
    port: int = 0
    asked: list[tuple[str, str]] | None = None
    answer: Callable[[str, str], int | None] | None = None

    @property
    def root(self) -> str:
        return f"http://127.0.0.1:{self.port}/{USER}/"

    @property
    def url(self) -> str:
        return f"{self.root}clinic/"

    @property
    def calendar(self) -> Path:
        return self.folder / "collection-root" / USER / "clinic"

    def events(self) -> dict[str, str]:
        """What the server keeps, by the names of its files."""
        return {path.name: path.read_text() for path in sorted(self.calendar.glob("*.ics"))}

    def writes(self) -> list[str]:
        return [path for method, path in self.asked or [] if method in ("PUT", "DELETE")]

    def wrapped(self, real: Wsgi) -> Wsgi:
        def application(environ: dict[str, Any], start: Any) -> Any:
            method, path = environ["REQUEST_METHOD"], environ["PATH_INFO"]
            assert self.asked is not None
            self.asked.append((method, path))
            status = self.answer(method, path) if self.answer else None
            if status is None:
                return real(environ, start)
            start(f"{status} said the test", [("Content-Length", "0")])
            return [b""]

        return application


@contextmanager
def caldav_server(folder: Path) -> Iterator[CalDav]:
    """A real CalDAV server that holds one empty calendar and knows one user."""
    users = folder / "users"
    users.write_text(f"{USER}:{PASSWORD}\n")
    settings = config.load()
    settings.update(
        {
            "auth": {
                "type": "htpasswd",
                "htpasswd_filename": str(users),
                "htpasswd_encryption": "plain",
                "delay": "0",
            },
            "storage": {"filesystem_folder": str(folder)},
            "logging": {"level": "critical"},
        },
        "test",
    )
    server = CalDav(folder, asked=[])
    server.calendar.mkdir(parents=True)
    (server.calendar / ".Radicale.props").write_text('{"tag": "VCALENDAR"}')
    httpd = make_server("127.0.0.1", 0, server.wrapped(Application(settings)), _Threads, _Silent)
    server.port = httpd.server_port
    with _running(httpd):
        yield server


@contextmanager
def answering(status: int, headers: dict[str, str], body: bytes = b"") -> Iterator[str]:
    """The address of a server that gives the same answer to everything."""

    class Handler(BaseHTTPRequestHandler):
        def answer(self) -> None:
            self.rfile.read(int(self.headers.get("Content-Length", 0)))
            self.send_response(status)
            for name, value in {"Content-Length": str(len(body)), **headers}.items():
                self.send_header(name, value)
            self.end_headers()
            self.wfile.write(body)

        do_PROPFIND = do_REPORT = do_PUT = do_GET = answer  # noqa: N815

        def log_message(self, format: str, *args: Any) -> None:
            pass

    httpd = HTTPServer(("127.0.0.1", 0), Handler)
    with _running(httpd):
        yield f"http://127.0.0.1:{httpd.server_port}/clinic/"


@contextmanager
def saying(said: bytes | None) -> Iterator[str]:
    """The address of something that says `said` to whoever comes, or nothing at all (None)."""
    with socket.create_server(("127.0.0.1", 0)) as listening:
        open_ones: list[socket.socket] = []

        def listen() -> None:
            while True:
                try:
                    connection, _ = listening.accept()
                except OSError:
                    return
                open_ones.append(connection)
                if said is not None:
                    connection.recv(65536)
                    connection.sendall(said)
                    connection.close()

        thread = threading.Thread(target=listen, daemon=True)
        thread.start()
        yield f"http://127.0.0.1:{listening.getsockname()[1]}/clinic/"
        listening.shutdown(socket.SHUT_RDWR)
    thread.join()
    for connection in open_ones:
        connection.close()


def unused_address() -> str:
    """Where nobody listens any more."""
    with socket.create_server(("127.0.0.1", 0)) as listening:
        return f"http://127.0.0.1:{listening.getsockname()[1]}/clinic/"


@contextmanager
def _running(httpd: HTTPServer) -> Iterator[None]:
    thread = threading.Thread(target=httpd.serve_forever, kwargs={"poll_interval": 0.01})
    thread.start()
    try:
        yield
    finally:
        httpd.shutdown()
        thread.join()
        httpd.server_close()
