"""Who stands on the recall list, why, and how soon. The days are assumptions of the tables."""

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest

from rehab.care import tracing
from rehab.care.case import Appointment, Case, CheckKind
from rehab.care.contacts import Contact, ContactTry, TryOutcome, Way
from rehab.care.recall import Recall, recall_list
from rehab.care.recall_reasons import ReasonKind, WhyShut
from rehab.errors import RecordError
from tests.care.cases import PROTOCOL, child, plan_for, removal, tried

OPERATED = date(2026, 1, 10)
TODAY = date(2026, 6, 1)
SEEN = {
    "on": date(2026, 5, 20),
    "right": {
        "pressure": "14",
        "refraction": "+16.00",
        "visual_axis": "clear",
        "wears": "glasses",
    },
    "left": {"cataract": "none"},
    "done": ["right=suture_review"],
}
AHEAD = {"on": date(2026, 7, 22)}
MISSED = {"on": date(2026, 5, 25), "outcome": "was not brought"}
REACHED = ContactTry("T1", date(2026, 5, 25), Way.PHONE, TryOutcome.REACHED)


def family(*tries: ContactTry, contacts: tuple[Contact, ...] = (), **facts: Any) -> Case:
    told = {"surgery": [removal("right", OPERATED)], "exam": [SEEN], "phone": "+999 555 0100"}
    return tried(child(**{**told, **facts}), *tries, contacts=contacts)


def listed(
    case: Case,
    today: date = TODAY,
    days_ahead: int = 14,
    why_shut: WhyShut = lambda _: "",
) -> Recall | None:
    by = today + timedelta(days=days_ahead)
    lines = recall_list(
        [(case, plan_for(case, today))], PROTOCOL, today=today, by=by, why_shut=why_shut
    )
    return lines[0] if lines else None


def line_of(case: Case, today: date = TODAY, why_shut: WhyShut = lambda _: "") -> Recall:
    line = listed(case, today, why_shut=why_shut)
    assert line is not None
    return line


def said(line: Recall) -> tuple[str, ...]:
    return tuple(reason.sentence for reason in line.reasons)


def kinds(line: Recall) -> tuple[ReasonKind, ...]:
    return tuple(reason.kind for reason in line.reasons)


def test_a_child_with_a_booking_in_its_window_is_not_on_the_list() -> None:
    assert listed(family(appointment=[AHEAD])) is None


def test_a_child_with_time_enough_but_no_appointment_comes_last() -> None:
    line = line_of(family())
    assert said(line) == ("no appointment ahead: next visit due 2026-06-26 to 2026-07-24",)
    assert (line.urgency, line.contact) == (4, "when booking next")


def test_a_window_that_closes_unbooked_replaces_that_sentence() -> None:
    line = line_of(family(), date(2026, 7, 20))
    assert said(line) == ("visit due by 2026-07-24, not booked",)
    assert (line.urgency, line.come_by) == (3, date(2026, 7, 24))


def test_overdue_checks_are_named_once_with_their_oldest_day() -> None:
    line = line_of(family(exam=[]))
    overdue = said(line)[-1]
    assert overdue.startswith("overdue since 2026-01-11: post operative review, ")
    assert overdue.count("pressure check") == 1
    assert line.days_overdue == (TODAY - date(2026, 1, 11)).days
    assert line.urgency == 1


def test_a_child_with_no_visit_planned_is_not_forgotten() -> None:
    line = line_of(family(surgery=[], exam=[]))
    assert said(line) == ("no visit planned and no ending recorded",)
    assert line.urgency == 4


@pytest.mark.parametrize("kind", ["moved away", "discharged", "declined", "died"])
def test_a_child_whose_care_ended_leaves_the_list_on_that_day(kind: str) -> None:
    ended = {"kind": kind, "on": TODAY}
    assert listed(family(exam=[], ending=ended)) is None
    assert listed(family(exam=[], ending=ended), TODAY - timedelta(days=1)) is not None


def test_a_child_not_brought_twice_is_first() -> None:
    line = line_of(
        family(appointment=[MISSED, {"on": date(2026, 5, 29), "outcome": "was not brought"}])
    )
    assert (line.urgency, line.times_not_brought) == (1, 2)
    assert said(line)[:2] == (
        "was not brought (2026-05-25, 2026-05-29)",
        "same-day call due 2026-05-29",
    )


def test_a_visit_since_then_clears_what_was_missed_before() -> None:
    missed = [{"on": date(2026, 5, 11), "outcome": "was not brought"}, AHEAD]
    assert listed(family(appointment=missed)) is None


def test_a_new_date_that_nobody_told_the_family_keeps_the_child_on_the_list() -> None:
    line = line_of(family(appointment=[MISSED, AHEAD]))
    assert line.reasons[0].kind is ReasonKind.NOT_TOLD
    assert said(line)[0] == (
        "new date 2026-07-22 not yet told to the family; was not brought (2026-05-25)"
    )
    assert listed(family(REACHED, appointment=[MISSED, AHEAD])) is None


def arranged(case: Case, on: date = TODAY) -> Case:
    """As if each appointment had been booked, moved or cancelled on this day."""
    made = tuple(replace(a, arranged_on=on) for a in case.appointments)
    return replace(case, appointments=made)


def test_an_appointment_that_nobody_told_the_family_of_keeps_the_child_on_the_list() -> None:
    """Common practice, no source: an appointment that the family has not heard of is none."""
    line = line_of(arranged(family(appointment=[AHEAD])))
    assert said(line) == ("appointment 2026-07-22 not yet told to the family",)
    assert (line.urgency, line.come_by) == (3, AHEAD["on"])
    told = ContactTry("T9", TODAY, Way.IN_PERSON, TryOutcome.REACHED)
    assert listed(tried(arranged(family(appointment=[AHEAD])), told)) is None
    left = replace(told, outcome=TryOutcome.MESSAGE_LEFT)
    assert listed(tried(arranged(family(appointment=[AHEAD])), left)) is not None
    case = tried(family(appointment=[AHEAD]), told)
    made = tuple(tracing.arranged(a, case, TODAY) for a in case.appointments)
    rung_before = replace(case, appointments=made)
    assert listed(rung_before) is not None, "a call on the same day, but before it was booked"
    assert listed(tried(rung_before, told, told)) is None
    before = replace(told, on=TODAY - timedelta(days=1))
    assert listed(tried(arranged(family(appointment=[AHEAD])), before)) is not None


def test_being_seen_tells_the_family_only_of_what_was_arranged_before_that_day() -> None:
    """What is booked in the evening for all who were seen that day is not told at the desk."""
    seen = [{**SEEN, "on": TODAY}]
    assert listed(arranged(family(appointment=[AHEAD], exam=seen))) is not None
    earlier = TODAY - timedelta(days=1)
    assert listed(arranged(family(appointment=[AHEAD], exam=seen), earlier)) is None


@pytest.mark.parametrize(("days", "urgency"), [(0, 1), (3, 1), (4, 2), (7, 2), (8, 3)])
def test_the_nearer_the_day_the_sooner_the_family_is_told(days: int, urgency: int) -> None:
    booked = {"on": TODAY + timedelta(days=days)}
    assert line_of(arranged(family(appointment=[booked, AHEAD]))).urgency == urgency


def test_a_family_whose_appointment_the_clinic_cancelled_is_told_not_to_come() -> None:
    gone = {"on": TODAY + timedelta(days=2), "outcome": "cancelled by clinic"}
    line = line_of(arranged(family(appointment=[gone, AHEAD])))
    assert said(line)[0] == (
        f"appointment {gone['on']} cancelled by the clinic: tell the family not to come"
    )
    assert line.urgency == 1
    by_family = {**gone, "outcome": "cancelled by family"}
    line = line_of(arranged(family(appointment=[by_family, AHEAD])))
    assert said(line) == ("appointment 2026-07-22 not yet told to the family",)


def test_no_next_try_is_put_off_to_the_day_of_an_appointment_that_is_not_told() -> None:
    booked = TODAY + timedelta(days=5)
    case = arranged(family(appointment=[{"on": booked}, AHEAD]))
    again = ContactTry("T9", TODAY, Way.PHONE, TryOutcome.NO_ANSWER, next_try=booked)
    assert line_of(tried(case, again)).waits_until is None
    sooner = replace(again, next_try=TODAY + timedelta(days=1))
    assert line_of(tried(case, sooner)).waits_until == TODAY + timedelta(days=1)


def test_a_call_before_the_new_date_was_made_does_not_close_the_loop() -> None:
    case = arranged(family(REACHED, appointment=[AHEAD]), REACHED.on + timedelta(days=1))
    missed = family(REACHED, appointment=[MISSED, AHEAD]).appointments[0]
    line = line_of(replace(case, appointments=(missed, *case.appointments)))
    assert line.reasons[0].kind is ReasonKind.NOT_TOLD


def test_reaching_the_family_without_a_new_date_does_not_close_the_loop() -> None:
    line = line_of(family(REACHED, appointment=[MISSED]))
    assert kinds(line) == (ReasonKind.NOT_BROUGHT,)
    late = line_of(family(REACHED, appointment=[MISSED]), date(2026, 6, 9))
    assert "new date due 2026-06-08" in said(late)


def test_an_appointment_without_an_outcome_is_asked_about_until_the_child_is_seen() -> None:
    booked = [{"on": date(2026, 5, 28)}, AHEAD]
    line = line_of(family(appointment=booked))
    assert said(line) == ("what became of the appointment is not recorded (2026-05-28)",)
    assert line.urgency == 2
    assert line.because is not None
    assert (line.because.decision, line.because.row) == ("recall_reason", "this-week")
    seen = [SEEN, {"on": date(2026, 5, 28), "note": "seen"}]
    assert listed(family(appointment=booked, exam=seen)) is None


def test_an_open_flag_brings_a_child_onto_the_list_with_its_own_urgency() -> None:
    high = {**SEEN, "right": {"pressure": "33", "wears": "glasses"}}
    line = line_of(family(exam=[high], appointment=[AHEAD]))
    assert line.urgency == 1
    assert line.reasons[0].kind is ReasonKind.URGENT_FLAG
    assert "33 mmHg" in said(line)[0]


def test_a_closure_on_the_booked_day_brings_the_family_onto_the_list_until_it_is_moved() -> None:
    def why_shut(appointment: Appointment) -> str:
        return "roof repair" if appointment.on == AHEAD["on"] else ""

    line = line_of(family(appointment=[AHEAD]), why_shut=why_shut)
    assert said(line) == ("clinic shut on the booked day 2026-07-22: roof repair",)
    assert line.urgency == 2
    moved = [{**AHEAD, "outcome": "cancelled by clinic"}, {"on": date(2026, 7, 20)}]
    assert listed(family(appointment=moved), why_shut=why_shut) is None


def test_a_session_that_does_not_offer_what_is_due_brings_the_family_onto_the_list() -> None:
    case = family(appointment=[AHEAD])
    asked = []

    def not_offered(appointment: Appointment, kinds: frozenset[CheckKind]) -> str:
        asked.append((appointment.on, bool(kinds)))
        return "pressure check"

    lines = recall_list(
        [(case, plan_for(case, TODAY))], PROTOCOL, today=TODAY, by=TODAY, not_offered=not_offered
    )
    assert asked == [(AHEAD["on"], True)]
    assert said(lines[0]) == (
        "the session booked on 2026-07-22 does not offer pressure check: move it, or book that too",
    )
    assert lines[0].urgency == 2


def test_a_letter_that_came_back_is_told_until_the_family_is_reached() -> None:
    back = ContactTry("T1", date(2026, 5, 28), Way.LETTER, TryOutcome.RETURNED)
    line = line_of(family(back, appointment=[AHEAD]))
    assert said(line) == ("letter returned 2026-05-28: ask for the right address",)
    assert line.urgency == 3
    spoke = ContactTry("T2", date(2026, 5, 29), Way.PHONE, TryOutcome.REACHED)
    assert listed(family(back, spoke, appointment=[AHEAD])) is None
    again = ContactTry("T2", date(2026, 5, 29), Way.LETTER, TryOutcome.SENT)
    assert listed(family(back, again, appointment=[AHEAD])) is None


@pytest.mark.parametrize(
    ("contact", "instead"),
    [
        (Contact("C1", "Ana", phone="+999 555 0101"), "try the other numbers and correct this one"),
        (
            Contact("C1", "Ana", address="2 Lane"),
            "write to the family and ask for the right number",
        ),
        (Contact("C1", "Ana"), "ask whoever referred the child, or send the community worker"),
    ],
)
def test_a_wrong_number_says_what_else_to_do(contact: Contact, instead: str) -> None:
    wrong = ContactTry("T1", date(2026, 5, 28), Way.PHONE, TryOutcome.WRONG_NUMBER)
    line = line_of(family(wrong, contacts=(contact,), appointment=[AHEAD]))
    assert said(line) == (f"wrong number 2026-05-28: {instead}",)
    assert line.reasons[0].kind is ReasonKind.NO_CONTACT


def test_a_child_without_number_and_address_is_told_once_somebody_must_contact_it() -> None:
    assert listed(family(phone="", appointment=[AHEAD])) is None
    assert said(line_of(family(phone="")))[-1] == (
        "no number and no address is recorded: ask whoever referred the child, "
        "or send the community worker"
    )


def test_a_plan_that_cannot_be_made_is_told_first() -> None:
    broken = RecordError("two lenses were removed.", where="T-1")
    (line,) = recall_list([(family(), broken)], PROTOCOL, today=TODAY, by=TODAY)
    assert (line.urgency, said(line)) == (
        1,
        ("no plan can be made: T-1: two lenses were removed.",),
    )


def test_the_urgency_says_its_row_and_all_the_facts_it_was_asked_with() -> None:
    because = line_of(family(appointment=[MISSED])).because
    assert because is not None
    assert because.row == "missed-once-infant"
    assert dict(because.facts) == {
        "age_months": 6,
        "days_since_surgery": 142,
        "risk": "raised",
        "days_overdue": 0,
        "times_not_brought": 1,
        "days_left": 53,
    }


@pytest.mark.parametrize(
    ("born", "cornea", "risk"),
    [
        # Below 3 months at surgery: Bothun et al. 2023, JAMA Ophthalmology 141:324-331.
        (date(2025, 10, 11), "", "raised"),
        (date(2025, 10, 10), "", "ordinary"),
        # Small corneas: Bothun et al. 2020, Ophthalmology 127; below 10.5 mm from 6 months on is
        # small by Solebo et al. 2015, British Journal of Ophthalmology 99:1471-1476.
        (date(2025, 10, 10), "10.4", "raised"),
        (date(2025, 10, 10), "10.5", "ordinary"),
    ],
)
def test_the_risk_is_raised_by_early_surgery_or_a_small_cornea(
    born: date, cornea: str, risk: str
) -> None:
    right = {**SEEN["right"], **({"corneal_diameter": cornea} if cornea else {})}  # type: ignore[dict-item]
    because = line_of(family(born=born, exam=[{**SEEN, "right": right}])).because
    assert because is not None
    assert dict(because.facts)["risk"] == risk


def tried_on(day: date, next_try: date | None, outcome: str = "no answer") -> ContactTry:
    return ContactTry("T1", day, Way.PHONE, TryOutcome(outcome), next_try)


def test_a_family_called_this_morning_rests_until_the_agreed_day() -> None:
    monday, friday = TODAY, date(2026, 6, 5)
    case = family(tried_on(monday, friday), appointment=[MISSED])
    assert line_of(family(appointment=[MISSED])).urgency == 1
    for day in range(4):
        line = line_of(case, monday + timedelta(days=day))
        assert (line.urgency, line.waits_until) == (4, friday)
        assert line.contact == "on 2026-06-05"
        assert said(line)[0] == "next try 2026-06-05 (phone call 2026-06-01: no answer)"
        assert ReasonKind.NOT_BROUGHT in kinds(line)
    due = line_of(case, friday)
    assert (due.urgency, due.waits_until) == (1, None)
    assert said(due)[0] == "next try due 2026-06-05 (phone call 2026-06-01: no answer)"


def test_a_next_try_alone_brings_a_child_back_on_its_day() -> None:
    case = family(tried_on(TODAY, date(2026, 6, 5), "reached"), appointment=[AHEAD])
    assert said(line_of(case)) == ("next try 2026-06-05 (phone call 2026-06-01: reached)",)
    due = line_of(case, date(2026, 6, 5))
    assert (due.urgency, kinds(due)) == (1, (ReasonKind.NEXT_TRY_DUE,))


def test_a_far_next_try_holds_a_family_back_no_longer_than_the_table_lets_it() -> None:
    case = family(tried_on(TODAY, date(2026, 6, 20)), appointment=[MISSED])
    assert line_of(case, TODAY + timedelta(days=3)).waits_until is not None
    assert line_of(case, TODAY + timedelta(days=4)).waits_until is None
    assert line_of(case, TODAY + timedelta(days=4)).urgency == 1


def test_in_the_first_weeks_a_try_holds_the_family_back_on_its_own_day_only() -> None:
    case = family(
        tried_on(TODAY, date(2026, 6, 3)),
        surgery=[removal("right", date(2026, 5, 25))],
        exam=[],
        appointment=[{"on": TODAY, "outcome": "was not brought"}],
    )
    assert line_of(case).waits_until == date(2026, 6, 2)
    assert line_of(case, TODAY + timedelta(days=1)).urgency == 1


def test_an_urgent_flag_never_waits() -> None:
    high = {**SEEN, "right": {"pressure": "33", "wears": "glasses"}}
    line = line_of(family(tried_on(TODAY, date(2026, 6, 5)), exam=[high]))
    assert (line.urgency, line.waits_until) == (1, None)


def test_what_happens_after_the_try_ends_the_waiting() -> None:
    later = {"on": date(2026, 6, 2), "outcome": "was not brought"}
    case = family(tried_on(TODAY, date(2026, 6, 5)), appointment=[later])
    assert line_of(case, date(2026, 6, 2)).urgency == 1
    unsettled = family(tried_on(TODAY, date(2026, 6, 5)), appointment=[{"on": date(2026, 6, 2)}])
    assert line_of(unsettled, date(2026, 6, 3)).urgency == 2


def test_no_next_try_may_let_the_last_good_day_pass() -> None:
    today = date(2026, 7, 20)
    assert line_of(family(tried_on(today, date(2026, 7, 24))), today).urgency == 4
    assert line_of(family(tried_on(today, date(2026, 7, 25))), today).urgency == 3


def test_a_visit_since_the_try_settles_it() -> None:
    case = family(tried_on(date(2026, 5, 10), date(2026, 5, 15)), appointment=[AHEAD])
    assert listed(case) is None
