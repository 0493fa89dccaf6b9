"""What a database refused, in words that a clinic can act on."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from sqlalchemy.engine import URL
from sqlalchemy.exc import DBAPIError, IntegrityError

from rehab.errors import StoreError

SECONDS_TO_WAIT = 15
UNIQUE_VIOLATION = "23505"


@dataclass(slots=True)
class Progress:
    """How far a transaction came. Once it began to finish, nobody here knows whether it did."""

    finishing: bool = False


def place_of(url: URL) -> str:
    """How a message names the database: its file, or its address without the password."""
    if url.get_backend_name() == "sqlite" and url.database:
        return url.database
    known = URL.create(url.get_backend_name(), url.username, None, url.host, url.port, url.database)
    return known.render_as_string()


@contextmanager
def plain_words(url: URL) -> Iterator[Progress]:
    """Says what the database refused in words that a clinic can act on."""
    progress = Progress()
    try:
        yield progress
    except DBAPIError as error:
        raise _explained(error, place_of(url), progress) from error


def said_by(error: DBAPIError) -> str:
    """What the database itself said, on one line."""
    return " ".join(str(error.orig).split())


def is_double(error: IntegrityError) -> bool:
    """True when another row already stands where this one was to go."""
    return _state(error) == UNIQUE_VIOLATION or "unique" in said_by(error).lower()


def _state(error: DBAPIError) -> str:
    """The five characters of the SQL standard, which unlike words are the same in all languages."""
    return getattr(error.orig, "sqlstate", None) or ""


def _explained(error: DBAPIError, where: str, progress: Progress) -> StoreError:
    what, do = _what_and_do(error, progress)
    return StoreError(what, where=where, do=do)


def _what_and_do(error: DBAPIError, progress: Progress) -> tuple[str, str]:
    said, state = said_by(error), _state(error)
    if error.connection_invalidated:
        if progress.finishing:
            return (
                "the connection to the database was lost just as this was being written.",
                "It may be written or not: look at what is recorded before you repeat it.",
            )
        return (
            "the connection to the database was lost.",
            "Nothing was written. Do it again; if it stays so, ask who runs the database server.",
        )
    if state in _BY_STATE:
        return _BY_STATE[state]
    if "not a database" in said or "malformed" in said:
        return (
            "this file is not a database, or it is damaged.",
            "Put back the last good copy, or choose another place.",
        )
    if "locked" in said or "busy" in said:
        return _BUSY
    if "database or disk is full" in said:
        return "the disk is full.", "Nothing was written. Make room, then do it again."
    if error.statement is None and not state and "connection" in said:
        return _unreachable(said)
    return (
        f"the database refused ({said}).",
        "Nothing was written. Check that the place exists and that you may write to it.",
    )


def _unreachable(said: str) -> tuple[str, str]:
    """A server that lets nobody in says why in words only."""
    if "authentication failed" in said or "no password supplied" in said or "pg_hba" in said:
        return (
            "the database server does not let this user in with this password.",
            "Nothing was written. Correct the user and the password in REHAB_DATABASE_URL.",
        )
    if "database" in said and "does not exist" in said:
        return (
            "the database server has no database of this name.",
            "Correct the name in REHAB_DATABASE_URL, or make it on the server, then: rehab init",
        )
    if "role" in said and "does not exist" in said:
        return (
            "the database server does not know this user.",
            "Nothing was written. Correct the user in REHAB_DATABASE_URL.",
        )
    if "too many" in said or "remaining connection slots" in said:
        return (
            "the database server has no connection left.",
            "Nothing was written. Wait a moment and do it again, or ask who runs the server.",
        )
    return (
        f"the database server cannot be reached ({said}).",
        "Nothing was written. Check that it runs, the network, and the address in "
        "REHAB_DATABASE_URL.",
    )


_BUSY = (
    f"another program has been writing for more than {SECONDS_TO_WAIT} seconds.",
    "Nothing was written. Wait a moment and do it again.",
)
# Codes of appendix A of the PostgreSQL manual.
_BY_STATE = {
    "55P03": _BUSY,
    "53100": (
        "the disk of the database server is full.",
        "Nothing was written. Ask who runs the server to make room, then do it again.",
    ),
    "42501": (
        "this user may not do that in this database.",
        "Nothing was written. Let the user own the database, or ask who runs the server.",
    ),
    "25006": (
        "this database can only be read.",
        "Nothing was written. Name the main server in REHAB_DATABASE_URL.",
    ),
    "22001": (
        "a text is longer than the database keeps.",
        "Nothing was written. Say it in fewer words.",
    ),
    "22003": (
        "a number is larger than the database keeps.",
        "Nothing was written. Check the number.",
    ),
}
