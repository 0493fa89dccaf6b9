"""What holds for any child: nobody is lost, each stands once, and the order is that of its text."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise, product
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from rehab.care.case import Appointment, Case, Child, Ending, EndingKind, Outcome, case_of
from rehab.care.contacts import Consent, Contact, ContactTry, TryOutcome, Way
from rehab.care.flags import Urgency
from rehab.care.recall import Recall, from_content, place, recall_list, to_content
from rehab.care.recall_reasons import Reason, ReasonKind
from rehab.rules.protocol import Because
from tests.care.cases import PROTOCOL, child, plan_for, removal, tried

TODAY = date(2026, 6, 1)
NEAR = st.integers(-90, 60).map(lambda days: TODAY + timedelta(days=days))
PAST = st.integers(-90, 0).map(lambda days: TODAY + timedelta(days=days))
WORDS = st.text(max_size=12)
DAYS = st.dates(date(1900, 1, 1), date(2199, 12, 31))
SEEN = {"right": {"pressure": "14", "refraction": "+16.00", "wears": "glasses"}}
PAST_OUTCOMES = tuple(Outcome)
AHEAD_OUTCOMES = (Outcome.BOOKED, Outcome.CANCELLED_BY_FAMILY, Outcome.CANCELLED_BY_CLINIC)
TRIES = st.builds(
    ContactTry,
    st.just("T1"),
    PAST,
    st.sampled_from(Way),
    st.sampled_from(TryOutcome),
    st.none() | NEAR,
)


@st.composite
def cases(draw: st.DrawFn) -> Case:
    days = draw(st.lists(NEAR, max_size=5))
    outcomes = [
        draw(st.sampled_from(PAST_OUTCOMES if day <= TODAY else AHEAD_OUTCOMES)) for day in days
    ]
    told: dict[str, Any] = {
        "number": draw(st.from_regex(r"[A-Z][0-9]{1,3}", fullmatch=True)),
        "surgery": [removal("right", day) for day in draw(st.lists(PAST, max_size=1))],
        "exam": [{"on": day, **SEEN} for day in draw(st.lists(PAST, max_size=2))],
        "appointment": [
            {"on": day, "outcome": outcome.value}
            for day, outcome in zip(days, outcomes, strict=True)
        ],
    }
    if draw(st.integers(0, 4)) == 0:
        told["ending"] = {"kind": "moved away", "on": draw(NEAR)}
    return tried(child(**told), *draw(st.lists(TRIES, max_size=3)))


def recalled(*these: Case) -> tuple[Recall, ...]:
    pairs = [(case, plan_for(case, TODAY, months=3)) for case in these]
    return recall_list(pairs, PROTOCOL, today=TODAY, by=TODAY + timedelta(days=14))


@given(cases())
@settings(max_examples=400, deadline=None)
def test_nobody_leaves_the_list_without_an_appointment_or_an_ending(case: Case) -> None:
    ahead = [a for a in case.appointments if a.outcome is Outcome.BOOKED and a.on >= TODAY]
    ended = case.ending is not None and case.ending.on <= TODAY
    lines = recalled(case)
    assert len(lines) <= 1
    if ended:
        assert not lines
    elif not ahead:
        assert lines[0].reasons
    else:
        # Arranged today, after every try but those of today, and told to nobody.
        tries = [t for t in case.tries if t.on < TODAY]
        made = tuple(replace(a, arranged_on=TODAY) for a in case.appointments)
        (line,) = recalled(tried(replace(case, appointments=made), *tries))
        assert line.reasons


@given(cases(), PAST)
@settings(max_examples=400, deadline=None)
def test_one_more_missed_appointment_never_makes_a_family_less_urgent(
    case: Case, missed: date
) -> None:
    again = Appointment("T-1/A9", missed, Outcome.WAS_NOT_BROUGHT)
    worse = case_of(
        case.child,
        surgeries=case.surgeries,
        examinations=case.examinations,
        appointments=(*case.appointments, again),
        ending=case.ending,
    )
    before, after = recalled(case), recalled(tried(worse, *case.tries))
    assert len(after) >= len(before)
    if before:
        assert after[0].urgency <= before[0].urgency


def test_in_the_table_more_missed_a_younger_child_and_a_raised_risk_are_never_less_urgent() -> None:
    """At each bound that a row of the table uses, so in every one of its cells."""

    def asked(age: int, risk: str, missed: int, *rest: int | str) -> tuple[int, int]:
        since, overdue, left = rest
        given: dict[str, int | str] = {"age_months": age, "risk": risk, "times_not_brought": missed}
        given |= {"days_since_surgery": since, "days_overdue": overdue, "days_left": left}
        answer = PROTOCOL.ask("recall_urgency", TODAY, given)
        return answer.number("urgency"), answer.number("wait_days")

    since_surgery: tuple[int | str, ...] = (0, 42, "not operated")
    days_left: tuple[int | str, ...] = (0, 2, 4, 15, "no visit")
    for rest in product(since_surgery, (0, 1, 28, 92), days_left):
        for age, risk in product((0, 12), ("ordinary", "raised")):
            for fewer, more in pairwise((0, 1, 2, 3)):
                less, worse = asked(age, risk, fewer, *rest), asked(age, risk, more, *rest)
                assert worse[0] <= less[0], rest
                assert worse[1] <= less[1], rest
        for missed in range(3):
            assert asked(12, "raised", missed, *rest) <= asked(12, "ordinary", missed, *rest)
            assert asked(0, "ordinary", missed, *rest) <= asked(12, "ordinary", missed, *rest)


@given(cases())
@settings(max_examples=100, deadline=None)
def test_an_urgent_flag_is_never_held_back(case: Case) -> None:
    flags = plan_for(case, TODAY, months=3).flags
    for line in recalled(case):
        if any(flag.urgency is not Urgency.NEXT_VISIT for flag in flags):
            assert line.waits_until is None
            assert line.urgency <= 2


@given(st.lists(cases(), max_size=4, unique_by=lambda case: case.child.number), st.randoms())
@settings(max_examples=40, deadline=None)
def test_the_list_is_in_the_order_of_its_places_however_the_children_come(
    these: list[Case], chance: Any
) -> None:
    lines = recalled(*these)
    assert [place(line) for line in lines] == sorted(place(line) for line in lines)
    assert [line.urgency for line in lines] == sorted(line.urgency for line in lines)
    shuffled = list(these)
    chance.shuffle(shuffled)
    assert recalled(*shuffled) == lines


CHILDREN = st.builds(
    Child,
    st.text(st.characters(categories=["L", "N"]), min_size=1, max_size=40),
    WORDS,
    DAYS,
    st.none() | st.integers(22, 45),
    WORDS,
    WORDS,
    WORDS,
)
CONTACTS = st.builds(
    Contact, WORDS, WORDS, WORDS, WORDS, WORDS, WORDS, *[st.sampled_from(Consent)] * 2
)
FACTS = st.lists(st.tuples(WORDS, st.integers() | WORDS), max_size=3).map(tuple)
BECAUSE = st.builds(
    Because, WORDS, DAYS, WORDS, WORDS, WORDS, WORDS, st.booleans(), WORDS, FACTS, WORDS
)
LINES = st.builds(
    Recall,
    CHILDREN,
    st.integers(1, 4),
    st.lists(st.builds(Reason, st.sampled_from(ReasonKind), WORDS), max_size=3).map(tuple),
    st.none() | DAYS,
    st.integers(0, 2000),
    st.integers(0, 40000),
    st.none() | BECAUSE,
    st.none() | DAYS,
    st.lists(CONTACTS, max_size=2).map(tuple),
    st.lists(
        st.builds(
            ContactTry,
            WORDS,
            DAYS,
            st.sampled_from(Way),
            st.sampled_from(TryOutcome),
            st.none() | DAYS,
            WORDS,
        ),
        max_size=2,
    ).map(tuple),
)


@given(LINES)
@settings(max_examples=100, deadline=None)
def test_a_line_that_was_kept_reads_back_equal(line: Recall) -> None:
    again = from_content(to_content(line))
    assert again == line
    assert [type(tried.way) for tried in again.last_tries] == [Way] * len(line.last_tries)


@given(LINES, LINES)
@settings(max_examples=200, deadline=None)
def test_a_place_is_short_plain_text_that_puts_the_more_urgent_first(
    one: Recall, other: Recall
) -> None:
    for line in (one, other):
        assert place(line).isascii()
        assert place(line).isprintable()
        assert len(place(line)) <= 60
    if one.urgency < other.urgency:
        assert place(one) < place(other)


def test_within_an_urgency_the_often_missed_come_first_then_the_soonest_day_then_the_number() -> (
    None
):
    def of(number: str, come_by: date | None = None, missed: int = 0, late: int = 0) -> Recall:
        told = Child(number, "", TODAY)
        return Recall(told, 2, (), come_by, times_not_brought=missed, days_overdue=late)

    waits = replace(of("M-9"), waits_until=TODAY)
    ordered: Sequence[Recall] = (
        waits,
        of("M-8", missed=10),
        of("M-7", missed=9),
        of("M-6", TODAY, late=400),
        of("M-5", TODAY, late=12),
        of("M-4", TODAY + timedelta(days=1)),
        of("M-1"),
        of("M-2"),
    )
    assert sorted(ordered, key=place) == list(ordered)


def test_an_ending_in_the_future_keeps_the_child_on_the_list() -> None:
    leaving = Ending(EndingKind.MOVED, TODAY + timedelta(days=1))
    (line,) = recalled(replace(child(), ending=leaving))
    assert line.reasons[0].kind is ReasonKind.NO_APPOINTMENT
