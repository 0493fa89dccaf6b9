"""The outbox: messages for families, each written once, and each change of state seen by all."""

from collections.abc import Iterable
from dataclasses import asdict, dataclass, replace
from datetime import UTC, date, datetime
from typing import Any

from sqlalchemy import ColumnElement, Connection, insert, select, update

from rehab.care.case import Outcome
from rehab.care.messages import Message, MessageState
from rehab.errors import RecordError
from rehab.store import schema
from rehab.store.reading import ByBytes, is_current

TABLE = schema.message


@dataclass(frozen=True, slots=True)
class Outbox:
    """The messages, as seen and changed within one transaction."""

    connection: Connection

    def put(self, message: Message, at: datetime) -> bool:
        """Writes a message that waits; False when it is there already.

        One that was cancelled has never gone out, so it waits again.
        """
        known = self._read(TABLE.c.uid == message.uid)
        if not known:
            self.connection.execute(insert(TABLE).values(_to_row(message, at)))
            return True
        if known[0].state is not MessageState.CANCELLED:
            return False
        cancelled = (TABLE.c.uid == message.uid, TABLE.c.state == MessageState.CANCELLED)
        anew = update(TABLE).where(*cancelled).values(_to_row(message, at))
        return self.connection.execute(anew).rowcount == 1

    def change(
        self, message: Message, state: MessageState, at: datetime, problem: str = ""
    ) -> bool:
        """Brings a message into another state; False when it is no longer in the state seen."""
        query = update(TABLE).where(TABLE.c.uid == message.uid, TABLE.c.state == message.state)
        row = {"state": state, "changed_at": _moment(at), "problem": problem}
        return self.connection.execute(query.values(row)).rowcount == 1

    def message(self, begins: str) -> Message:
        """The one message whose uid begins so."""
        found = self._read(TABLE.c.uid.startswith(begins, autoescape=True)) if begins else []
        if len(found) != 1:
            raise RecordError(
                "more than one message begins so." if found else "there is no such message.",
                where=begins,
                do="Give its letters as they are listed by: rehab reminder list",
            )
        return found[0]

    def messages(self, states: Iterable[MessageState] = tuple(MessageState)) -> tuple[Message, ...]:
        """The messages in one of these states, in order of the appointment, then the uid."""
        return tuple(self._read(TABLE.c.state.in_(tuple(states))))

    def known(self, uids: Iterable[str]) -> frozenset[str]:
        """Those of `uids` that are written and not cancelled."""
        query = select(TABLE.c.uid).where(
            TABLE.c.uid.in_(tuple(uids)), TABLE.c.state != MessageState.CANCELLED
        )
        return frozenset(self.connection.scalars(query))

    def booked_numbers(self, start: date, until: date) -> tuple[str, ...]:
        """The children who have an appointment from `start` to before `until`."""
        table = schema.appointment
        query = select(table.c.child_number).where(
            is_current(table),
            table.c.outcome == Outcome.BOOKED,
            table.c.on >= start,
            table.c.on < until,
            table.c.child_number.in_(select(schema.child.c.key).where(is_current(schema.child))),
        )
        return tuple(sorted(self.connection.scalars(query.distinct())))

    def _read(self, *conditions: ColumnElement[bool]) -> list[Message]:
        query = (
            select(TABLE).where(*conditions).order_by(TABLE.c.appointment_on, ByBytes(TABLE.c.uid))
        )
        found = (row._asdict() for row in self.connection.execute(query))
        return [
            Message(**{**row, "changed_at": datetime.fromisoformat(row["changed_at"])})
            for row in found
        ]


def _to_row(message: Message, at: datetime) -> dict[str, Any]:
    waiting = replace(message, state=MessageState.WAITING, problem="")
    return {**asdict(waiting), "changed_at": _moment(at)}


def _moment(at: datetime) -> str:
    return at.astimezone(UTC).isoformat(timespec="microseconds")
