"""What became of checks that fell due: by a child for each answer, and against the plan itself."""

from collections import Counter
from datetime import date, timedelta
from itertools import pairwise
from random import Random
from typing import Any

import pytest

from rehab.care.case import Case, CheckKind
from rehab.care.checks import Horizon, due_checks
from rehab.care.figures import Period
from rehab.care.timeliness import Done, checks_done
from tests.care.cases import PROTOCOL, child, removal

OPERATED = date(2026, 1, 10)
TODAY = date(2027, 1, 1)
ALWAYS = Period()
# The review at three months, 10 April, is good for a fortnight on either side.
OPENS, CLOSES = date(2026, 3, 27), date(2026, 4, 24)
SPRING = Period(date(2026, 4, 1), date(2026, 4, 30))
DAY = timedelta(days=1)


def seen(*days: date, **facts: Any) -> Case:
    exam = [{"on": day, "right": {"visual_axis": "clear"}} for day in days]
    return child(surgery=[removal("right", OPERATED)], exam=exam, **facts)


def reviews(case: Case, period: Period = SPRING, today: date = TODAY) -> list[Done]:
    told = checks_done(case, PROTOCOL, period, today)
    return [done for kind, done in told if kind is CheckKind.REVIEW]


@pytest.mark.parametrize(
    ("days", "done"),
    [
        ([OPENS], Done.INSIDE),
        ([CLOSES], Done.INSIDE),
        ([CLOSES + DAY], Done.LATE),
        ([OPENS - DAY], Done.NOT_DONE),
        ([OPENS - DAY, CLOSES], Done.INSIDE),
        ([CLOSES - DAY, CLOSES + DAY], Done.INSIDE),
        ([], Done.NOT_DONE),
        # From 26 June on a look is that of six months, and settles one review only.
        ([date(2026, 6, 25)], Done.LATE),
        ([date(2026, 6, 26)], Done.NOT_DONE),
    ],
)
def test_the_review_at_three_months_is(days: list[date], done: Done) -> None:
    assert reviews(seen(*days)) == [done]


def test_a_window_counts_once_it_has_closed() -> None:
    assert reviews(seen(OPENS), today=CLOSES) == []
    assert reviews(seen(OPENS), today=CLOSES + DAY) == [Done.INSIDE]
    assert reviews(seen(), Period(CLOSES, CLOSES)) == [Done.NOT_DONE]
    assert reviews(seen(), Period(CLOSES + DAY, CLOSES + DAY)) == []


def test_a_check_whose_window_was_open_when_care_ended_does_not_count() -> None:
    for ended, told in ((CLOSES, []), (CLOSES + DAY, [Done.NOT_DONE])):
        assert reviews(seen(ending={"kind": "moved away", "on": ended})) == told


def test_what_was_recorded_by_another_finding_does_not_settle_a_check() -> None:
    told = Counter(checks_done(seen(date(2026, 4, 10)), PROTOCOL, SPRING, TODAY))
    assert told[CheckKind.VISUAL_AXIS, Done.INSIDE] == 1
    assert told[CheckKind.PRESSURE, Done.INSIDE] == 0
    assert told[CheckKind.PRESSURE, Done.NOT_DONE] == 1


def test_a_second_operation_begins_new_reviews_and_keeps_what_was_missed_before() -> None:
    cleared = {"eye": "right", "on": date(2026, 4, 20), "procedure": "membrane clearance"}
    case = child(surgery=[removal("right", OPERATED), cleared])
    told = Counter(reviews(case, Period(date(2026, 1, 1), date(2026, 4, 24))))
    # Days 1, 3, 7, 30 of the first, days 1 and 3 of the second: three months is withdrawn.
    assert told == {Done.NOT_DONE: 6}


def test_a_check_that_counts_from_the_last_look_can_be_done_early() -> None:
    both = {"right": {"acuity": "6/18"}, "left": {"acuity": "6/6"}}
    case = child(
        surgery=[removal("right", OPERATED)],
        exam=[{"on": date(2026, 2, 10), "test": "letters", "right": {"wears": "contact lens"}}]
        + [{"on": day, "test": "letters", **both} for day in (date(2026, 3, 3),)],
        occlusion=[{"eye": "left", "starts": date(2026, 2, 11), "who": "S. Lindqvist"}],
    )
    known = due_checks(case, PROTOCOL, Horizon(date(2026, 2, 11), date(2026, 8, 1)))[0]
    assert known, "the story must hold an occlusion review"
    told = [
        done
        for kind, done in checks_done(case, PROTOCOL, ALWAYS, TODAY)
        if kind is CheckKind.OCCLUSION
    ]
    assert told[0] is Done.EARLY
    assert set(told[1:]) == {Done.NOT_DONE}


def test_however_a_child_came_the_same_checks_fell_due_and_those_seen_were_inside() -> None:
    """Against the plan of the day of surgery, for kinds whose windows lie on a fixed grid."""
    plan, _ = due_checks(seen(), PROTOCOL, Horizon(OPERATED, TODAY))
    kinds = {CheckKind.REVIEW: {}, CheckKind.PRESSURE: {"pressure": "14"},
             CheckKind.VISUAL_AXIS: {"visual_axis": "clear"}}  # fmt: skip
    grid = {k: [c for c in plan if c.kind is k and c.latest < TODAY] for k in kinds}
    assert min(len(found) for found in grid.values()) >= 4
    random = Random(4)
    for _ in range(40):
        days = sorted(
            {OPERATED + DAY * random.randint(1, 350) for _ in range(random.randint(0, 8))}
        )
        looks = {day: random.choice(tuple(kinds)) for day in days}
        exam = [{"on": d, "right": {"cataract": "none", **kinds[k]}} for d, k in looks.items()]
        case = child(surgery=[removal("right", OPERATED)], exam=exam)
        told = Counter(checks_done(case, PROTOCOL, ALWAYS, TODAY))
        for kind in kinds:
            came = [d for d, k in looks.items() if kind in (CheckKind.REVIEW, k)]
            inside = [c for c in grid[kind] if any(c.earliest <= d <= c.latest for d in came)]
            assert sum(told[kind, done] for done in Done) == len(grid[kind]), (kind, looks)
            assert told[kind, Done.INSIDE] == len(inside), (kind, looks)


def test_a_part_of_the_time_tells_what_the_whole_told_of_it() -> None:
    case = seen(date(2026, 2, 12), date(2026, 4, 30), date(2026, 7, 9))
    whole = Counter(checks_done(case, PROTOCOL, ALWAYS, TODAY))
    months = [date(2026, m, 1) for m in range(1, 13)] + [TODAY]
    parts = sum(
        (
            Counter(checks_done(case, PROTOCOL, Period(first, after - DAY), TODAY))
            for first, after in pairwise(months)
        ),
        Counter(),
    )
    assert parts == whole


def test_terms_agreed_later_were_not_known_before() -> None:
    regimen = {"eye": "left", "starts": date(2026, 1, 20), "who": "S. Lindqvist"}
    later = {**regimen, "decided_on": date(2026, 6, 1), "review_on": date(2026, 9, 1)}
    spring = Period(date(2026, 1, 1), date(2026, 5, 31))
    plain, changed = (
        Counter(checks_done(seen(occlusion=[told]), PROTOCOL, spring, TODAY))
        for told in (regimen, later)
    )
    assert plain[CheckKind.OCCLUSION, Done.NOT_DONE] > 0
    assert plain == changed


def test_who_has_nothing_recorded_has_nothing_due() -> None:
    assert list(checks_done(child(), PROTOCOL, ALWAYS, TODAY)) == []
