"""The diary's transactions: what is never overwritten, and who is listed as affected."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from rehab import diary_desk
from rehab.care.case import Appointment, Child, Ending, EndingKind
from rehab.care.diary import Closure, Holiday, SessionPattern, Site
from rehab.errors import RecordError
from rehab.settings import Clinic, Settings
from rehab.store.store import Stamp, create_or_upgrade, open_store
from rehab.table_files import read_protocol
from rehab.workflow import Desk, add_child, end_care

TODAY = date(2026, 11, 25)
STAMP = Stamp("M. Okoro", datetime(2026, 11, 25, 8, tzinfo=UTC), "asked for")
NORTH = Site("north", "North Clinic", country="EG")
MONDAYS = SessionPattern(
    "mondays", "north", date(2026, 11, 30), 540, 780, 240, "FREQ=WEEKLY;BYDAY=MO"
)
FEAST = Holiday("EG", "", date(2027, 3, 10), "a feast", estimated=True)


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    settings = Settings(tmp_path, Clinic("Harbour Eye Clinic"))
    create_or_upgrade(settings.database_url)
    opened = Desk(settings, read_protocol(), open_store(settings.database_url))
    for record in (NORTH, MONDAYS):
        diary_desk.add(opened, record, today=TODAY, stamp=STAMP)
    yield opened
    opened.store.close()


def copy(desk: Desk, *holidays: Holiday) -> diary_desk.Copied:
    return diary_desk.copy_holidays(desk, holidays, today=TODAY, stamp=STAMP)


def test_a_second_copy_brings_only_what_was_never_recorded(desk: Desk) -> None:
    removed = replace(FEAST, on=date(2027, 1, 7), estimated=False)
    renamed = replace(FEAST, on=date(2027, 4, 25), estimated=False)
    assert copy(desk, removed, renamed).added == (removed, renamed)
    diary_desk.remove(desk, "@holiday/EG/2027-01-07", today=TODAY, stamp=STAMP)
    diary_desk.change(
        desk, "@holiday/EG/2027-04-25", {"name": "our own name"}, today=TODAY, stamp=STAMP
    )
    again = copy(desk, removed, renamed, FEAST)
    assert (again.added, again.kept) == ((FEAST,), 2)
    assert [h.name for h in desk.store.diary().holidays] == ["a feast", "our own name"]


def test_an_estimate_that_the_list_has_moved_is_told_and_kept(desk: Desk) -> None:
    copy(desk, FEAST)
    other_year = replace(FEAST, on=date(2028, 2, 27))
    by_hand = replace(FEAST, on=date(2027, 6, 1), estimated=False)
    copy(desk, other_year)
    diary_desk.add_holiday(desk, by_hand, today=TODAY, stamp=STAMP)
    moved = replace(FEAST, on=date(2027, 3, 9))
    again = copy(desk, moved)
    assert (again.added, again.elsewhere) == ((moved,), (FEAST,))
    assert FEAST in desk.store.diary().holidays


def test_only_children_who_are_still_to_come_are_listed(desk: Desk) -> None:
    monday = date(2026, 12, 7)
    for number in ("K-1", "K-2", "K-3"):
        add_child(
            desk, Child(number, f"Child {number}", date(2026, 1, 5)), today=TODAY, stamp=STAMP
        )
    for number, on in (("K-1", monday), ("K-2", monday), ("K-3", date(2026, 12, 14))):
        booked = Appointment("", on, session=f"mondays/{on}", starts_minute=540, minutes=20)
        with desk.store.transaction() as tx:
            tx.add(number, booked, STAMP)
    ending = Ending(EndingKind.MOVED, date(2026, 12, 1))
    end_care(desk, "K-2", ending, today=date(2026, 12, 1), stamp=STAMP)
    closed = diary_desk.close(
        desk, Closure("", monday, date(2026, 12, 8), "strike"), today=TODAY, stamp=STAMP
    )
    assert [(a.number, a.name, a.why) for a in closed.affected] == [("K-1", "Child K-1", "strike")]
    later = diary_desk.close(
        desk, Closure("", monday, date(2026, 12, 8), "flood"), today=date(2026, 12, 8), stamp=STAMP
    )
    assert (later.key, later.affected) == ("@closure/2026-12-07-2", ())


def test_a_change_to_what_another_changed_meanwhile_is_refused(desk: Desk) -> None:
    seen = desk.store.version("@session/mondays")
    new = {"ends_minute": 720}
    diary_desk.change(desk, "@session/mondays", new, today=TODAY, stamp=STAMP, seen=seen)
    with pytest.raises(
        RecordError, match=r"changed by someone else: version 2 .* you saw version 1"
    ):
        diary_desk.change(
            desk, "@session/mondays", {"ends_minute": 700}, today=TODAY, stamp=STAMP, seen=seen
        )


def test_nothing_is_recorded_of_a_change_that_cannot_be(desk: Desk) -> None:
    with pytest.raises(RecordError, match="holds no child"):
        diary_desk.change(
            desk, "@session/mondays", {"capacity_minutes": 0}, today=TODAY, stamp=STAMP
        )
    assert desk.store.diary().patterns == (MONDAYS,)
    assert desk.store.version("@session/mondays") == 1
