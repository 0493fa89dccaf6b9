"""The steps after a child was not brought: when each is due, and what settles it.

The intervals are assumptions of the table: no source gives them (they are a policy of each clinic).
That one missed appointment has many simple reasons, and more than one can be a cause for worry:
"When children miss their appointments", children's health services in Norfolk. That repeated
patterns and repeated cancellations are to be met with curiosity: Sussex child protection and
safeguarding procedures, 5.3.3 and 5.3.4.
"""

from datetime import date, timedelta
from typing import Any

import pytest

from rehab.care.case import Case
from rehab.care.contacts import ContactTry, TryOutcome, Way
from rehab.care.tracing import TracingStep, loop_closed, tracing_steps
from tests.care.cases import PROTOCOL, child, removal, tried

OPERATED = date(2026, 5, 25)
MISSED = date(2026, 6, 1)
FIRST_WEEKS = {
    "same-day call": "2026-06-01",
    "new date": "2026-06-08",
    "letter": "2026-06-03",
    "community worker": "2026-06-05",
}


def family(*tries: ContactTry, operated: date = OPERATED, **facts: Any) -> Case:
    case = child(
        **{
            "surgery": [removal("right", operated)],
            "appointment": [{"on": MISSED, "outcome": "was not brought"}],
            **facts,
        }
    )
    return tried(case, *tries)


def missed(*days: date) -> list[dict[str, Any]]:
    return [{"on": day, "outcome": "was not brought"} for day in days]


def due(case: Case, today: date = MISSED) -> dict[str, str]:
    """Each step not yet done, and the day on which it is due."""
    return {
        step.step.value: str(step.due_on)
        for step in tracing_steps(case, PROTOCOL, today)
        if step.done is None
    }


def done(case: Case, today: date) -> set[TracingStep]:
    return {s.step for s in tracing_steps(case, PROTOCOL, today) if s.done is not None}


def test_after_a_missed_first_week_each_step_has_its_day() -> None:
    assert due(family()) == FIRST_WEEKS


def test_a_child_missed_once_long_after_surgery_is_called_and_written_to() -> None:
    assert due(family(operated=date(2025, 1, 6), born=date(2024, 11, 1))) == {
        "same-day call": "2026-06-01",
        "new date": "2026-06-29",
        "letter": "2026-06-08",
    }


def test_every_step_says_which_row_asked_for_it_and_about_which_day() -> None:
    first, *_ = tracing_steps(family(), PROTOCOL, MISSED)
    assert (first.about.on, first.because.decision, first.because.row) == (
        MISSED,
        "tracing_step",
        "call",
    )
    assert dict(first.because.facts)["days_since_surgery"] == 7


@pytest.mark.parametrize("outcome", ["no answer", "message left", "wrong number"])
def test_a_call_that_reaches_nobody_settles_nothing(outcome: str) -> None:
    call = ContactTry("T1", MISSED, Way.PHONE, TryOutcome(outcome))
    assert due(family(call)) == FIRST_WEEKS


@pytest.mark.parametrize("way", [Way.PHONE, Way.TEXT, Way.IN_PERSON, Way.COMMUNITY_WORKER])
def test_a_family_that_was_reached_needs_a_new_date_and_no_more_tracing(way: Way) -> None:
    reached = ContactTry("T1", MISSED, way, TryOutcome.REACHED)
    assert due(family(reached)) == {"new date": "2026-06-08"}


def test_reaching_the_family_before_the_missed_day_settles_nothing() -> None:
    before = ContactTry("T1", MISSED - timedelta(days=1), Way.PHONE, TryOutcome.REACHED)
    assert due(family(before)) == FIRST_WEEKS


def test_a_letter_settles_its_step_until_it_comes_back() -> None:
    sent = ContactTry("T1", date(2026, 6, 3), Way.LETTER, TryOutcome.SENT)
    back = ContactTry("T2", date(2026, 6, 9), Way.LETTER, TryOutcome.RETURNED)
    today = date(2026, 6, 10)
    assert done(family(sent), today) == {TracingStep.LETTER}
    assert done(family(sent, back), today) == set()


def test_the_community_worker_has_been_when_it_is_recorded_as_done() -> None:
    gone = ContactTry("T1", date(2026, 6, 5), Way.COMMUNITY_WORKER, TryOutcome.DONE)
    assert done(family(gone), date(2026, 6, 5)) == {TracingStep.COMMUNITY_WORKER}


def test_the_loop_is_closed_when_the_family_knows_of_a_new_date() -> None:
    booked = [*missed(MISSED), {"on": date(2026, 6, 5)}]
    reached = ContactTry("T1", MISSED, Way.PHONE, TryOutcome.REACHED)
    today = date(2026, 6, 2)
    assert not loop_closed(family(), today)
    assert not loop_closed(family(reached), today)
    assert not loop_closed(family(appointment=booked), today)
    assert TracingStep.NEW_DATE in done(family(appointment=booked), today)
    assert loop_closed(family(reached, appointment=booked), today)
    assert due(family(reached, appointment=booked), today) == {}


def test_a_new_date_that_passed_without_the_child_opens_the_loop_again() -> None:
    passed = [*missed(MISSED), {"on": date(2026, 6, 5)}]
    reached = ContactTry("T1", MISSED, Way.PHONE, TryOutcome.REACHED)
    assert not loop_closed(family(reached, appointment=passed), date(2026, 6, 8))


def test_each_new_missed_day_starts_the_steps_afresh() -> None:
    again = date(2026, 6, 8)
    reached = ContactTry("T1", MISSED, Way.PHONE, TryOutcome.REACHED)
    waiting = due(family(reached, appointment=missed(MISSED, again)), again)
    assert waiting["same-day call"] == "2026-06-08"
    assert waiting["new date"] == "2026-06-15"


def test_twice_in_the_first_weeks_raises_the_safeguarding_question() -> None:
    assert "safeguarding question" not in due(family())
    waiting = due(family(appointment=missed(MISSED, date(2026, 6, 4))), date(2026, 6, 4))
    assert waiting["safeguarding question"] == "2026-06-05"


def test_later_it_is_raised_by_the_third_missed_appointment_in_a_row() -> None:
    later = {"operated": date(2026, 1, 12)}
    days = (date(2026, 5, 4), date(2026, 5, 18), date(2026, 6, 1))
    twice = due(family(appointment=missed(*days[:2]), **later))
    assert "safeguarding question" not in twice
    assert due(family(appointment=missed(*days), **later))["safeguarding question"] == "2026-06-08"


def test_the_question_stays_when_the_loop_is_closed_and_goes_when_somebody_asked_it() -> None:
    booked = [*missed(MISSED, date(2026, 6, 4)), {"on": date(2026, 6, 10)}]
    reached = ContactTry("T1", date(2026, 6, 4), Way.PHONE, TryOutcome.REACHED)
    asked = ContactTry("T2", date(2026, 6, 5), Way.SAFEGUARDING, TryOutcome.DONE)
    today = date(2026, 6, 6)
    assert due(family(reached, appointment=booked), today) == {
        "safeguarding question": "2026-06-05"
    }
    assert due(family(reached, asked, appointment=booked), today) == {}


def test_three_cancellations_since_the_child_was_seen_raise_the_question_too() -> None:
    cancelled = [
        {"on": date(2026, 5, day), "outcome": "cancelled by family"} for day in (26, 27, 28)
    ]
    assert due(family(appointment=cancelled[:2])) == {}
    assert due(family(appointment=cancelled)) == {"safeguarding question": "2026-06-04"}
    assert (
        due(family(appointment=cancelled, exam=[{"on": date(2026, 5, 28), "note": "seen"}])) == {}
    )


@pytest.mark.parametrize("day", [MISSED, date(2026, 6, 2)])
def test_a_child_that_was_seen_on_that_day_or_later_is_not_traced(day: date) -> None:
    seen = [{"on": day, "note": "came without an appointment"}]
    assert tracing_steps(family(exam=seen), PROTOCOL, date(2026, 6, 3)) == ()
