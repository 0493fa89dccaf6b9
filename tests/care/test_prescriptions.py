"""A prescription is kept as it was written, holds on its days, and on no other."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from rehab.care.case import Prescription
from rehab.care.facts import known_on
from rehab.care.prescriptions import LONGEST_DAYS, LONGEST_TEXT, check_prescription, in_force
from rehab.errors import RecordError
from tests.care.cases import BORN, child

TODAY = date(2026, 4, 20)
DROPS = Prescription(
    "T-1/D1",
    date(2026, 4, 6),
    date(2026, 5, 4),
    "Drops, right eye:\nas on the clinic's drop card no. 3",
    "Dr R. Haddad",
)
CASE = replace(child(), prescriptions=(DROPS,))
ONE_DAY = timedelta(days=1)


def test_a_prescription_holds_from_its_first_to_its_last_day() -> None:
    held = [
        day
        for day in (DROPS.on - ONE_DAY, DROPS.on, DROPS.until, DROPS.until + ONE_DAY)
        if in_force(CASE, day)
    ]
    assert held == [DROPS.on, DROPS.until]
    assert in_force(CASE, TODAY) == (DROPS,)


def test_what_is_prescribed_later_was_not_known_before() -> None:
    assert known_on(CASE, DROPS.on - ONE_DAY).prescriptions == ()
    assert known_on(CASE, DROPS.until + ONE_DAY).prescriptions == (DROPS,)


@pytest.mark.parametrize(
    "text",
    [
        "x" * LONGEST_TEXT,
        "One line, with <b>, &, \\, {{ name }} and % as they stand",
        "قطرة في العين اليمنى\n\nपहली बूँद",
        # Persian and Indic scripts need the joiners.
        "می\N{ZERO WIDTH NON-JOINER}خواهد",
    ],
)
def test_a_text_in_any_script_is_taken_as_it_is(text: str) -> None:
    check_prescription(child(), replace(DROPS, text=text), TODAY)


REFUSED = {
    "before birth": ({"on": BORN - ONE_DAY}, "lies outside the child's life so far (2025-11-10 to"),
    "not yet": ({"on": TODAY + ONE_DAY}, "Check the date, or give --today."),
    "ends before it begins": (
        {"until": DROPS.on - ONE_DAY},
        "the prescription of 2026-04-06 would end before it begins, on 2026-04-05.",
    ),
    "a slip in the year": (
        {"until": DROPS.on + timedelta(days=LONGEST_DAYS + 1)},
        "would hold until 2027-04-08, longer than a year. Check the year.",
    ),
    "nobody": ({"prescriber": " "}, "' ' is no name that can be printed."),
    "empty": ({"text": " \n "}, "the prescription says nothing."),
    "long": ({"text": "x" * (LONGEST_TEXT + 1)}, "has 501 characters, more than the 500"),
    "an escape": ({"text": "a\n\x1b[2J"}, "line 2 of the prescription holds U+001B, which cannot"),
    "a tab": ({"text": "1\t2"}, "line 1 of the prescription holds U+0009"),
    "a line separator": ({"text": "1\u20282"}, "holds U+2028"),
    "half a character": ({"text": "\udc80"}, "holds U+DC80"),
    # They reverse how a number is read: Unicode Standard Annex 9, section 2.
    **{
        f"U+{ord(mark):04X}": ({"text": f"1 {mark}21"}, f"holds U+{ord(mark):04X}, which cannot be")
        for mark in "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u200e\u200f"
    },
}


@pytest.mark.parametrize(("given", "said"), REFUSED.values(), ids=REFUSED.keys())
def test_what_cannot_be_or_cannot_be_printed_is_refused(given: dict[str, str], said: str) -> None:
    with pytest.raises(RecordError) as refused:
        check_prescription(child(), replace(DROPS, **given), TODAY)  # type: ignore[arg-type]
    assert str(refused.value).startswith("T-1: ")
    assert said in str(refused.value)


def test_the_longest_time_is_a_year_with_its_leap_day() -> None:
    until = DROPS.on + timedelta(days=LONGEST_DAYS)
    check_prescription(child(), replace(DROPS, until=until), TODAY)
