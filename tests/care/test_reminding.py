"""Which reminders are due, to whom, and when one that was written no longer holds."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rehab.care.case import Appointment, Case, Child, Ending, EndingKind, Outcome
from rehab.care.contacts import Consent, Contact, ContactTry, TryOutcome, Way
from rehab.care.messages import Message
from rehab.care.reminding import (
    Reminder,
    consented,
    due_days,
    first_day,
    is_rung,
    reminders,
    segments,
    why_not,
)

DAY = date(2026, 5, 11)
THREE, ONE = DAY - timedelta(3), DAY - timedelta(1)
TWO_DAYS = (3, 1)
BOOKED = Appointment("K-017/A1", DAY, session="mornings/2026-05-11", starts_minute=580, minutes=20)
MOTHER = Contact(
    "K-017/C1", "Aigul T", "mother", "+00 555 0117", "aigul@example.org",
    text_consent=Consent.YES, email_consent=Consent.YES,
)  # fmt: skip
CASE = Case(Child("K-017", "Asel T", date(2026, 2, 11)), appointments=(BOOKED,), contacts=(MOTHER,))


def written(case: Case = CASE, today: date = THREE) -> Message:
    """The text message that is due, as the outbox holds it."""
    due: Reminder = next(r for r in reminders(case, today, TWO_DAYS) if r.way is Way.TEXT)
    return Message(
        due.uid, "K-017", BOOKED.id, DAY, due.days_before, due.way, due.address, "", "", ""
    )


@pytest.mark.parametrize(
    ("ahead", "due"),
    [(4, None), (3, 3), (2, 3), (1, 1), (0, None), (-1, None)],
)
def test_a_missed_reminder_is_sent_late_until_the_next_ones_day(
    ahead: int, due: int | None
) -> None:
    assert due_days(DAY, DAY - timedelta(ahead), TWO_DAYS) == due


@given(
    st.lists(st.integers(1, 14), unique=True, max_size=4),
    st.sets(st.integers(-3, 20)),
)
def test_whatever_days_it_runs_no_reminder_is_due_twice_nor_two_on_one_day(
    reminder_days: list[int], days_run: set[int]
) -> None:
    sent: list[tuple[int, int]] = []
    for ahead in sorted(days_run, reverse=True):
        due = due_days(DAY, DAY - timedelta(ahead), reminder_days)
        assert due is None or (due in reminder_days and 1 <= ahead <= due)
        if due is not None and due not in [days for _, days in sent]:
            sent.append((ahead, due))
    assert len({ahead for ahead, _ in sent}) == len(sent)
    assert [days for _, days in sent] == sorted((days for _, days in sent), reverse=True)


def test_run_every_day_each_reminder_is_sent_on_its_own_day() -> None:
    days = [due_days(DAY, DAY - timedelta(ahead), (7, 3, 1)) for ahead in range(9, -1, -1)]
    assert days == [None, None, 7, 7, 7, 7, 3, 3, 1, None]


@pytest.mark.parametrize("consent", [Consent.NO, Consent.UNKNOWN])
def test_only_a_yes_is_consent(consent: Consent) -> None:
    silent = replace(MOTHER, text_consent=consent)
    assert consented(replace(CASE, contacts=(silent,))) == ((Way.EMAIL, "aigul@example.org"),)
    silent = replace(silent, email_consent=consent)
    assert consented(replace(CASE, contacts=(silent,))) == ()


def test_an_address_that_two_contacts_share_is_written_to_once_and_an_empty_one_never() -> None:
    father = replace(MOTHER, id="K-017/C2", name="Erlan T", email="  ")
    assert consented(replace(CASE, contacts=(MOTHER, father))) == (
        (Way.TEXT, "+00 555 0117"),
        (Way.EMAIL, "aigul@example.org"),
    )


def test_an_address_written_in_another_way_is_the_same_address() -> None:
    again = replace(MOTHER, id="K-017/C2", phone="+00-555 (0117)", email="Aigul@Example.org")
    both = replace(CASE, contacts=(MOTHER, again))
    assert consented(both) == consented(CASE)
    other = replace(CASE, contacts=(again,))
    assert why_not(written(), other, THREE, TWO_DAYS) == ""
    assert {r.uid for r in reminders(other, THREE, TWO_DAYS)} == {
        r.uid for r in reminders(CASE, THREE, TWO_DAYS)
    }


def test_a_no_of_one_person_counts_where_another_agreed_for_the_same_address() -> None:
    father = replace(MOTHER, id="K-017/C2", name="Erlan T", text_consent=Consent.NO)
    for contacts in ((MOTHER, father), (father, MOTHER)):
        assert consented(replace(CASE, contacts=contacts)) == ((Way.EMAIL, "aigul@example.org"),)


def test_a_number_without_a_digit_reaches_nobody() -> None:
    neighbour = replace(MOTHER, phone="ask next door", email="")
    assert consented(replace(CASE, contacts=(neighbour,))) == ()


def test_the_number_recorded_with_the_child_is_no_consent() -> None:
    child = replace(CASE.child, phone="+00 555 0117")
    assert reminders(replace(CASE, child=child, contacts=()), THREE, TWO_DAYS) == ()


@pytest.mark.parametrize("outcome", [o for o in Outcome if o is not Outcome.BOOKED])
def test_only_a_booked_appointment_is_reminded_of(outcome: Outcome) -> None:
    over = replace(CASE, appointments=(replace(BOOKED, outcome=outcome),))
    assert reminders(over, THREE, TWO_DAYS) == ()
    assert why_not(written(), over, THREE, TWO_DAYS) == "the appointment is no longer booked"


@pytest.mark.parametrize("kind", list(EndingKind))
def test_after_an_ending_nobody_is_reminded(kind: EndingKind) -> None:
    ended = replace(CASE, ending=Ending(kind, THREE))
    assert reminders(ended, THREE, TWO_DAYS) == ()
    assert why_not(written(), ended, THREE, TWO_DAYS) == "care here has ended"


@pytest.mark.parametrize(
    "moved",
    [
        replace(BOOKED, on=DAY + timedelta(1)),
        replace(BOOKED, starts_minute=600),
        replace(BOOKED, session="evenings/2026-05-11"),
    ],
)
def test_a_moved_appointment_has_messages_of_its_own(moved: Appointment) -> None:
    after = replace(CASE, appointments=(moved,))
    assert why_not(written(), after, THREE, TWO_DAYS) == "the appointment was moved"
    two_before = moved.on - timedelta(2)
    before = {r.uid for r in reminders(CASE, two_before, TWO_DAYS)}
    assert before.isdisjoint(r.uid for r in reminders(after, two_before, TWO_DAYS))


def test_what_the_family_is_not_told_does_not_make_another_message() -> None:
    overbooked = replace(CASE, appointments=(replace(BOOKED, minutes=30, overbooked=True),))
    assert why_not(written(), overbooked, THREE, TWO_DAYS) == ""
    assert [r.uid for r in reminders(overbooked, THREE, TWO_DAYS)] == [
        r.uid for r in reminders(CASE, THREE, TWO_DAYS)
    ]


def test_a_message_holds_only_while_the_family_agrees_to_it() -> None:
    assert why_not(written(), CASE, THREE, TWO_DAYS) == ""
    no = replace(CASE, contacts=(replace(MOTHER, text_consent=Consent.NO),))
    other = replace(CASE, contacts=(replace(MOTHER, phone="+00 555 0199"),))
    for after in (no, other):
        assert why_not(written(), after, THREE, TWO_DAYS) == (
            "the family no longer agrees to be written to here"
        )


def test_a_message_that_waited_too_long_is_not_sent() -> None:
    assert why_not(written(), CASE, THREE + timedelta(1), TWO_DAYS) == ""
    assert why_not(written(), CASE, ONE, TWO_DAYS) == "another reminder has taken its place"
    assert why_not(written(), CASE, DAY, TWO_DAYS) == "its time has passed"
    assert why_not(written(), CASE, DAY - timedelta(9), TWO_DAYS) == "it is not due yet"


def test_a_family_that_was_spoken_to_need_not_be_rung() -> None:
    since = first_day(DAY, TWO_DAYS)
    assert since == THREE
    tries = [
        (ContactTry("", THREE, Way.PHONE, TryOutcome.NO_ANSWER), False),
        (ContactTry("", THREE - timedelta(1), Way.PHONE, TryOutcome.REACHED), False),
        (ContactTry("", THREE, Way.PHONE, TryOutcome.REACHED), True),
    ]
    for made, rung in tries:
        assert is_rung(replace(CASE, tries=(made,)), since) is rung


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        # 3GPP TS 23.038 and 23.040, from memory: 160 and 153 characters of seven bits, 70 and 67
        # of sixteen; a character outside the alphabet makes the whole text one of sixteen bits.
        ("a" * 160, 1),
        ("a" * 161, 2),
        ("a" * 306, 2),
        ("a" * 307, 3),
        ("€" * 80, 1),
        ("€" * 81, 2),
        ("ә" * 70, 1),
        ("a" * 70 + "ә", 2),
        ("🙂" * 35, 1),
        ("🙂" * 36, 2),
    ],
)
def test_the_parts_of_a_text_message_are_counted(text: str, parts: int) -> None:
    assert segments(text) == parts
