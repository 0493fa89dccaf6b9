"""Two people at two machines: whoever comes second is told, and nothing of the first is lost."""

import re
import threading
from collections.abc import Callable
from datetime import date

import pytest

from rehab.booking_desk import Wanted, book
from rehab.care.case import Appointment, Regimen
from rehab.errors import RecordError, RehabError
from rehab.settings import read_settings
from rehab.store.store import Stamp
from rehab.workflow import Desk, open_desk
from tests.conftest import Clinic
from tests.diaries import HARBOUR, MONDAYS, STAMP, keep_diary

pytestmark = pytest.mark.both_databases
TODAY = date(2026, 4, 1)
CHANGE = 'occlusion change K-017 --eye left --hours {} --why "{}" --who "{}"'


def _version(clinic: Clinic) -> str:
    return clinic.say("occlusion show K-017").rpartition("Version ")[2].split()[0]


def test_of_two_who_change_one_course_the_second_is_told(asel: Clinic) -> None:
    asel.say(CHANGE.format("1", "agreed", "M. Okoro"))
    seen = _version(asel)
    asel.say(CHANGE.format("2", "longer, as acuity stands still", "S. Lindqvist"))
    told = asel.refuse(CHANGE.format("0.5", "sore skin", "A. Brandt") + f" --seen {seen}")
    assert told.startswith("K-017: the course was changed by someone else: it is at version ")
    assert told.endswith(
        f"you saw version {seen}. Look at it again with: rehab occlusion show K-017"
    )
    lives = [v.record for v in asel.history("K-017") if isinstance(v.record, Regimen)]
    assert 120 in {regimen.minutes_per_day for regimen in lives}
    assert 30 not in {regimen.minutes_per_day for regimen in lives}
    asel.say(CHANGE.format("0.5", "sore skin", "A. Brandt") + f" --seen {_version(asel)}")


def test_who_did_not_say_what_they_saw_is_told_after_the_change(asel: Clinic) -> None:
    asel.say(CHANGE.format("1", "agreed", "M. Okoro"))
    said = asel.say(CHANGE.format("2", "longer", "S. Lindqvist")).splitlines()
    assert re.fullmatch(
        r"Mind: M\. Okoro changed this course at \d\d:\d\d UTC \(agreed\)\.", said[-2]
    )
    assert said[-1] == "Both are kept: rehab record history K-017"
    assert "Mind:" not in asel.say(CHANGE.format("3", "longer still", "S. Lindqvist"))


@pytest.mark.parametrize(
    "line",
    [
        'occlusion pause K-017 --why "sore skin"',
        'occlusion stop K-017 --on 2026-05-01 --why "away"',
    ],
)
def test_nobody_pauses_or_stops_what_they_did_not_see(asel: Clinic, line: str) -> None:
    asel.say(CHANGE.format("1", "agreed", "M. Okoro"))
    before = asel.history("K-017")
    assert "changed by someone else" in asel.refuse(f"{line} --seen 0")
    assert asel.history("K-017") == before
    asel.say(f"{line} --seen {_version(asel)}")


def test_a_course_without_regimens_is_at_version_none(asel: Clinic) -> None:
    asel.say(CHANGE.format("1", "agreed", "M. Okoro") + " --seen 0")
    assert "you saw version 0" in asel.refuse(CHANGE.format("2", "x", "A. Brandt") + " --seen 0")


def _at_once(clinic: Clinic, *actions: Callable[[Desk], object]) -> list[str]:
    """What each of several people is told who act at the same moment, "" when it was done."""
    told: list[str] = []
    ready = threading.Barrier(len(actions))

    def act(action: Callable[[Desk], object]) -> None:
        desk = open_desk(read_settings(clinic.home))
        ready.wait()
        try:
            action(desk)
            told.append("")
        except RehabError as error:
            told.append(str(error))
        finally:
            desk.store.close()

    people = [threading.Thread(target=act, args=(action,)) for action in actions]
    for person in people:
        person.start()
    for person in people:
        person.join()
    return sorted(told)


def test_the_last_place_of_a_session_goes_to_one_of_four(asel: Clinic) -> None:
    keep_diary(asel.home, HARBOUR, MONDAYS)
    numbers = [f"L-{n}" for n in range(4)]
    for number in numbers:
        asel.say(f"child add {number} --name Bo --born 2025-02-11")
    day = MONDAYS.first

    def book_for(number: str) -> Callable[[Desk], object]:
        wanted = Wanted(day, minutes=MONDAYS.capacity_minutes)
        return lambda desk: book(desk, number, wanted, today=TODAY, stamp=STAMP)

    told = _at_once(asel, *map(book_for, numbers))
    assert told[0] == ""
    assert all("has 0 minutes left" in line for line in told[1:]), told
    booked = [v for number in numbers for v in asel.history(number)
              if isinstance(v.record, Appointment)]  # fmt: skip
    assert len(booked) == 1


def test_of_two_who_correct_one_regimen_at_once_one_is_told(asel: Clinic) -> None:
    asel.say(CHANGE.format("1", "agreed", "M. Okoro"))
    (regimen,) = (v.record for v in asel.history("K-017") if isinstance(v.record, Regimen))

    def withdraw(desk: Desk) -> None:
        why = Stamp(STAMP.by, STAMP.at, "entered for another child")
        with desk.store.transaction() as tx:
            tx.withdraw(regimen.id, why, expected_version=1)

    told = _at_once(asel, withdraw, withdraw)
    assert told[0] == ""
    assert "this was changed by someone else: version 2 is by M. Okoro" in told[1]


def test_whoever_is_told_has_written_nothing(asel: Clinic) -> None:
    before = asel.history("K-017")
    desk = open_desk(read_settings(asel.home))
    with (
        pytest.raises(RecordError, match="changed by someone else"),
        desk.store.transaction() as tx,
    ):
        tx.withdraw("K-017/X1", Stamp(STAMP.by, STAMP.at, "misread"), expected_version=9)
    desk.store.close()
    assert asel.history("K-017") == before
