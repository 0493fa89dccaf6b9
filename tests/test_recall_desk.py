"""The list as it is kept is the list as it would be worked out now, whatever happened since."""

from datetime import date

import pytest

from rehab.care.recall import LOOK_AHEAD
from rehab.recall_desk import StoredList, list_for_another_day
from rehab.refresh import bring_up_to_date
from rehab.settings import read_settings
from rehab.workflow import Desk, open_desk
from tests.conftest import Clinic

pytestmark = pytest.mark.both_databases
TODAY = date(2026, 4, 20)


def assert_kept_as_worked_out(desk: Desk, today: date = TODAY) -> None:
    bring_up_to_date(desk, today, follow=False)
    kept = StoredList(desk.store)
    worked_out = list_for_another_day(desk, today=today, by=today + LOOK_AHEAD)
    assert list(kept.families(None)) == list(worked_out.families(None))
    assert list(kept.blocks(None)) == list(worked_out.blocks(None))
    assert dict(kept.counts()) == dict(worked_out.counts())
    assert list(kept.families(1)) == list(worked_out.families(1))


def test_the_list_as_kept_follows_every_change_of_a_child_and_of_the_day(asel: Clinic) -> None:
    desk = open_desk(read_settings(asel.home))
    asel.say("child add L-1 --name Bo --born 2025-02-11")
    assert_kept_as_worked_out(desk)
    for line in (
        "exam add K-017 --on 2026-04-20 --pressure right=34",
        "appointment book K-017 2026-04-27",
        "appointment book L-1 2026-04-30",
        'child end L-1 "moved away" --on 2026-04-20',
    ):
        asel.say(line)
        assert_kept_as_worked_out(desk)
    for day in (date(2026, 4, 28), date(2026, 12, 1), TODAY):
        assert_kept_as_worked_out(desk, day)
    desk.store.close()
