"""One calendar on a CalDAV server (RFC 4791): events read, and written only over what was read."""

import logging
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from ipaddress import ip_address
from typing import Any
from urllib.parse import urljoin, urlsplit
from xml.sax.saxutils import escape

from rehab.errors import CalendarServerError

EVENTS_AT_ONCE = 100
LONGEST_ADDRESS = 200
GO_ON = "Nothing is lost: run the same command again, and it goes on from there."
CHECK_ADDRESS = "Check the address: it must be that of one calendar, as the server's pages show it."
CALENDAR = "{urn:ietf:params:xml:ns:caldav}calendar"
RESOURCE_TYPE = "{DAV:}resourcetype"
ASK_TYPE = (
    '<?xml version="1.0" encoding="utf-8"?>'
    '<propfind xmlns="DAV:"><prop><resourcetype/></prop></propfind>'
)
ASK_EVENTS = (
    '<?xml version="1.0" encoding="utf-8"?>'
    '<c:calendar-multiget xmlns="DAV:" xmlns:c="urn:ietf:params:xml:ns:caldav">'
    "<prop><getetag/><c:calendar-data/></prop>{hrefs}</c:calendar-multiget>"
)


@dataclass(frozen=True, slots=True)
class Address:
    """Where a calendar is, and who writes there; each answer may take `timeout_seconds`."""

    url: str
    user: str = ""
    password: str = field(default="", repr=False)
    timeout_seconds: int = 20

    def __post_init__(self) -> None:
        _refuse_bad_address(self.url)


@dataclass(frozen=True, slots=True)
class Held:
    """An event as the server holds it; `etag` is another one after each change there."""

    etag: str
    content: str


@dataclass(frozen=True, slots=True)
class ServerCalendar:
    """An open calendar. Each event is a resource of its own, found by its `name`."""

    client: Any
    url: str

    def held(self, names: Iterable[str]) -> dict[str, Held]:
        """Those of the events of these names that are there."""
        wanted = list(names)
        found: dict[str, Held] = {}
        for start in range(0, len(wanted), EVENTS_AT_ONCE):
            batch = wanted[start : start + EVENTS_AT_ONCE]
            paths = (escape(urlsplit(urljoin(self.url, name)).path) for name in batch)
            hrefs = "".join(f"<href>{path}</href>" for path in paths)
            with _plain_words(self.url):
                response = self.client.report(self.url, ASK_EVENTS.format(hrefs=hrefs), None)
                if response.status != 207:
                    raise _refused(response.status, self.url)
                results = response.parse_calendar_query()
            for result in results:
                name = (result.href or "").rpartition("/")[2]
                if name in batch and result.calendar_data:
                    if not result.etag:
                        raise _not_understood(self.url)
                    found[name] = Held(result.etag, result.calendar_data)
        return found

    def put(self, name: str, content: bytes, over: Held | None) -> bool:
        """Write an event in place of `over`, or as a new one; False when it has changed there."""
        condition = {"If-Match": over.etag} if over else {"If-None-Match": "*"}
        headers = {"Content-Type": "text/calendar; charset=utf-8", **condition}
        with _plain_words(self.url):
            response = self.client.put(urljoin(self.url, name), content.decode(), headers)
        if response.status == 412:
            return False
        if response.status not in (200, 201, 204):
            raise _refused(response.status, self.url)
        return True


@contextmanager
def open_calendar(address: Address) -> Iterator[ServerCalendar]:
    """The calendar at `address`, once the server has said that it is one."""
    try:
        from caldav.davclient import DAVClient
    except ModuleNotFoundError:
        raise CalendarServerError(
            "publishing to a calendar server needs one more library.",
            do='Install it with: pip install "rehab-after-cataract[calendar-server]"',
        ) from None
    # What it has to say is said by our messages; its own log would print what the server sent.
    logging.getLogger("caldav").setLevel(logging.CRITICAL + 1)
    url = address.url if address.url.endswith("/") else f"{address.url}/"
    client = DAVClient(
        url,
        username=address.user or None,
        password=address.password or None,
        timeout=address.timeout_seconds,
        enable_rfc6764=False,
    )
    client.session.max_redirects = 0
    if _is_loopback(url):
        client.session.trust_env = False
    with client:
        _refuse_unless_calendar(client, url)
        yield ServerCalendar(client, url)


def _refuse_unless_calendar(client: Any, url: str) -> None:
    with _plain_words(url):
        response = client.request(url, "PROPFIND", ASK_TYPE, {"Depth": "0"})
        if response.status not in (200, 207):
            raise _refused(response.status, url)
        types = [r.properties.get(RESOURCE_TYPE) or [] for r in response.parse_propfind()]
    if not any(CALENDAR in of_one for of_one in types):
        raise CalendarServerError("this is not a calendar.", where=url, do=CHECK_ADDRESS)


@contextmanager
def _plain_words(url: str) -> Iterator[None]:
    """Says in one line what went wrong on the way to the server and back."""
    from caldav import davclient
    from caldav.lib.error import AuthorizationError, DAVError, RateLimitError

    # Whichever library it found to speak HTTP with.
    wrong = davclient.requests.exceptions  # type: ignore[attr-defined]
    try:
        yield
    except AuthorizationError as error:
        raise _refused(error.status or 401, url) from error
    except RateLimitError as error:
        raise _refused(error.status or 503, url) from error
    except wrong.TooManyRedirects as error:
        there = error.response.headers.get("Location", "") if error.response is not None else ""
        raise CalendarServerError(
            f"the server says that the calendar is elsewhere{_at(there)}.",
            where=url,
            do="If you trust that place, give its address.",
        ) from error
    except wrong.Timeout as error:
        raise CalendarServerError(
            "the calendar server does not answer in time.", where=url, do=GO_ON
        ) from error
    except wrong.SSLError as error:
        raise CalendarServerError(
            "the server cannot prove who it is: its certificate is not trusted.",
            where=url,
            do="Ask whoever runs the server. Nothing was sent to it.",
        ) from error
    except (wrong.ConnectionError, ConnectionError) as error:
        raise CalendarServerError(
            "the calendar server cannot be reached.",
            where=url,
            do=f"Check the address and the network. {GO_ON}",
        ) from error
    except (OSError, ValueError, SyntaxError, DAVError) as error:
        raise _not_understood(url) from error


def _refused(status: int, url: str) -> CalendarServerError:
    what, do = {
        401: ("the server does not accept this user and password.", "Check both."),
        403: ("this user may not write here.", "Ask whoever runs the server."),
        404: ("there is no calendar here.", CHECK_ADDRESS),
        405: ("this is not a calendar.", CHECK_ADDRESS),
        409: ("the calendar holds this event under another name.", "Remove it there."),
        413: ("the server finds an event too long.", "Ask whoever runs the server."),
        429: ("the server is busy.", f"Wait a few minutes. {GO_ON}"),
        503: ("the server is busy.", f"Wait a few minutes. {GO_ON}"),
        507: ("the server has no room left.", f"Ask whoever runs it to make room. {GO_ON}"),
    }.get(status, (f"the server refused (it answered {status}).", GO_ON))
    return CalendarServerError(what, where=url, do=do)


def _not_understood(url: str) -> CalendarServerError:
    return CalendarServerError(
        "what answers here is not understood as a calendar server.", where=url, do=CHECK_ADDRESS
    )


def _at(place: str) -> str:
    parts = urlsplit(place)
    said = f"{parts.scheme}://{parts.hostname or ''}{parts.path}" if parts.scheme else parts.path
    return f", at {said[:LONGEST_ADDRESS]}" if said and said.isprintable() else ""


def _refuse_bad_address(url: str) -> None:
    def refuse(what: str, do: str) -> CalendarServerError:
        return CalendarServerError(what, where="--url", do=do)

    try:
        parts = urlsplit(url)
        bad = not parts.hostname or parts.scheme not in ("http", "https") or parts.port == 0
    except ValueError:
        bad = True
    if bad or not url.isprintable() or " " in url or parts.query or parts.fragment:
        raise refuse(
            "this is not the address of a calendar.",
            "Write it in full, such as https://calendars.example/eye-clinic/",
        )
    if "@" in parts.netloc:
        raise refuse(
            "an address must not hold a user or a password.",
            "Give --user, and set the password in REHAB_CALENDAR_PASSWORD.",
        )
    if len(url) > LONGEST_ADDRESS:
        raise refuse(f"the address has more than {LONGEST_ADDRESS} characters.", "Find a shorter.")
    if parts.scheme == "http" and not _is_loopback(url):
        raise refuse(
            "http would send the password and the appointments in the open.",
            "Give an address that begins with https.",
        )


def _is_loopback(url: str) -> bool:
    host = urlsplit(url).hostname or ""
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"
