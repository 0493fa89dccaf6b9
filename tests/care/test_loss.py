"""When a child counts as lost to follow-up, by a child for each part of the definition."""

from datetime import date, timedelta
from typing import Any

import pytest

from rehab.care.case import Case
from rehab.care.loss import grace, loss_of
from rehab.care.survival import Followed
from tests.care.cases import PROTOCOL, child, removal

OPERATED = date(2026, 1, 10)
# Seen at one month; the review at three months (10 April) is good until a fortnight later.
SEEN = date(2026, 2, 10)
CLOSES = date(2026, 4, 24)
GRACE = timedelta(days=90)
LOST_ON = CLOSES + GRACE
LATE = date(2028, 1, 1)
DAY = timedelta(days=1)


def followed(*seen: date, **facts: Any) -> Case:
    exam = [{"on": day, "right": {"pressure": "14"}} for day in (SEEN, *seen)]
    return child(surgery=[removal("right", OPERATED)], exam=exam, **facts)


def lost(days: int) -> tuple[Followed, str]:
    return Followed(days, True), "lost"


def missed(on: date, outcome: str = "was not brought") -> dict[str, Any]:
    return {"on": on, "outcome": outcome}


def test_the_grace_time_is_that_of_the_table() -> None:
    assert grace(PROTOCOL, LATE) == GRACE


def test_a_child_is_lost_on_the_day_the_grace_time_has_run_out_and_not_before() -> None:
    day_before = Followed((LOST_ON - DAY - OPERATED).days, False)
    assert loss_of(followed(), PROTOCOL, LOST_ON - DAY) == (day_before, "in care")
    for today in (LOST_ON, LATE):
        assert loss_of(followed(), PROTOCOL, today) == lost((LOST_ON - OPERATED).days)


def test_a_child_that_was_seen_again_is_not_lost() -> None:
    back = date(2027, 11, 1)
    said = loss_of(followed(back), PROTOCOL, LATE)
    assert said == (Followed((LATE - OPERATED).days, False), "in care")


def test_a_missed_appointment_counts_from_its_own_day() -> None:
    case = followed(appointment=[missed(date(2026, 3, 1))])
    assert loss_of(case, PROTOCOL, LATE) == lost((date(2026, 3, 1) + GRACE - OPERATED).days)


@pytest.mark.parametrize("outcome", ["cancelled by family", "cancelled by clinic", "booked"])
def test_an_appointment_that_was_not_missed_changes_nothing(outcome: str) -> None:
    case = followed(appointment=[missed(date(2026, 3, 1), outcome)])
    assert loss_of(case, PROTOCOL, LATE) == lost((LOST_ON - OPERATED).days)


def test_an_appointment_missed_before_the_child_was_seen_is_forgotten() -> None:
    case = followed(appointment=[missed(date(2026, 2, 1))])
    assert loss_of(case, PROTOCOL, LATE) == lost((LOST_ON - OPERATED).days)


def test_an_attended_appointment_without_an_examination_is_being_seen() -> None:
    case = followed(appointment=[missed(date(2026, 4, 12), "attended")])
    six_months_closes = date(2026, 7, 10) + timedelta(days=14)
    assert loss_of(case, PROTOCOL, LATE) == lost((six_months_closes + GRACE - OPERATED).days)


def test_a_child_never_seen_after_its_operation_is_lost_from_the_first_review_on() -> None:
    case = child(surgery=[removal("right", OPERATED)])
    assert loss_of(case, PROTOCOL, LATE) == lost(1 + GRACE.days)


@pytest.mark.parametrize("kind", ["moved away", "transferred", "discharged", "died"])
def test_an_ending_before_the_loss_ends_the_following_without_it(kind: str) -> None:
    case = followed(ending={"kind": kind, "on": LOST_ON - DAY})
    assert loss_of(case, PROTOCOL, LATE) == (
        Followed((LOST_ON - DAY - OPERATED).days, False),
        kind,
    )


def test_a_child_that_was_lost_before_its_ending_stays_lost() -> None:
    case = followed(ending={"kind": "moved away", "on": LOST_ON})
    assert loss_of(case, PROTOCOL, LATE) == lost((LOST_ON - OPERATED).days)


def test_declining_care_is_loss_on_its_day() -> None:
    case = followed(ending={"kind": "declined", "on": date(2026, 3, 3)})
    days = (date(2026, 3, 3) - OPERATED).days
    assert loss_of(case, PROTOCOL, LATE) == (Followed(days, True), "declined")


def test_a_second_operation_is_being_seen_and_starts_its_own_reviews() -> None:
    second = removal("left", date(2026, 4, 1))
    case = child(surgery=[removal("right", OPERATED), second])
    assert loss_of(case, PROTOCOL, LATE) == lost((date(2026, 4, 2) + GRACE - OPERATED).days)


def test_who_was_not_operated_is_not_followed_here() -> None:
    assert loss_of(child(), PROTOCOL, LATE) is None
    assert loss_of(followed(), PROTOCOL, OPERATED - DAY) is None


def test_on_the_day_of_the_operation_nothing_has_been_followed_yet() -> None:
    assert loss_of(followed(), PROTOCOL, OPERATED) == (Followed(0, False), "in care")


def test_what_happened_after_today_is_not_known() -> None:
    case = followed(date(2026, 8, 1), ending={"kind": "died", "on": date(2026, 9, 1)})
    assert loss_of(case, PROTOCOL, date(2026, 7, 31)) == lost((LOST_ON - OPERATED).days)
