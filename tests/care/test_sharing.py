"""What a school may be told is what the family agreed last, and nothing without that."""

from dataclasses import replace
from datetime import date

import pytest

from rehab.care.facts import known_on
from rehab.care.sharing import SchoolTopic, Sharing, check_sharing
from rehab.errors import RecordError
from tests.care.cases import BORN, child

TODAY = date(2026, 4, 20)
AGREED = Sharing("T-1/G1", date(2026, 4, 13), (SchoolTopic.OPERATION,), "Gulnara T")


def test_nothing_may_be_told_before_the_family_agreed() -> None:
    assert child().sharing is None
    case = replace(child(), sharing=AGREED)
    assert known_on(case, date(2026, 4, 12)).sharing is None
    assert known_on(case, AGREED.on).sharing == AGREED


def test_a_family_may_agree_to_nothing_and_change_its_mind_on_the_same_day() -> None:
    check_sharing(replace(AGREED, school=()), AGREED, BORN, TODAY, "T-1")
    check_sharing(replace(AGREED, on=BORN), None, BORN, TODAY, "T-1")


REFUSED = {
    "nobody": ({"agreed_by": ""}, "T-1: '' is no name that can be printed."),
    "an escape": ({"agreed_by": "a\x1b[2J"}, "T-1: 'a\\x1b[2J' is no name that can be printed."),
    "not yet": (
        {"on": date(2026, 4, 21)},
        "T-1: nobody can have agreed on 2026-04-21: the child's life so far is 2025-11-10 to "
        "2026-04-20. Check the date, or give --today.",
    ),
    "before birth": ({"on": date(2025, 11, 9)}, "T-1: nobody can have agreed on 2025-11-09"),
    "older than what counts": (
        {"on": date(2026, 4, 12)},
        "T-1: what the family agreed on 2026-04-12 is older than what it agreed on 2026-04-13. "
        "The newer counts. If that was entered in error, withdraw T-1/G1 first.",
    ),
}


@pytest.mark.parametrize(("given", "said"), REFUSED.values(), ids=REFUSED.keys())
def test_what_nobody_can_have_agreed_to_is_refused(given: dict[str, str], said: str) -> None:
    told = replace(AGREED, **given)  # type: ignore[arg-type]
    with pytest.raises(RecordError) as refused:
        check_sharing(told, AGREED, BORN, TODAY, "T-1")
    assert str(refused.value).startswith(said)
