"""What can be recorded of a family's contacts, and what cannot."""

from dataclasses import replace
from datetime import date

import pytest

from rehab.care.contact_checks import (
    OUTCOMES,
    check_contact,
    check_limits,
    check_phone,
    check_text,
    check_try,
    printable,
)
from rehab.care.contacts import Contact, ContactTry, Limits, TryOutcome, Way
from rehab.errors import RecordError

BORN, TODAY = date(2026, 2, 11), date(2026, 4, 20)
MOTHER = Contact("", "Gulnara T", "mother")
RANG = ContactTry("", date(2026, 4, 20), Way.PHONE, TryOutcome.NO_ANSWER)


@pytest.mark.parametrize(
    "phone",
    ["", "+00 555 0118", "(0555) 01-18", "0555/0118", "555.0118", "+00 (0)555 0118 ext. 12",
     "*555#0118", "0118 x4"],
)  # fmt: skip
def test_numbers_are_kept_as_people_dial_them(phone: str) -> None:
    check_phone(phone, "K-017")


@pytest.mark.parametrize(
    "phone",
    ["+1=cmd", "=555 0118", "@5550118", "-5550118", "118", "+", "5550118;rm", "555\n0118",
     "555\t0118", "٠٥٥٥٠١١٨", "call the aunt", "0555 0118 or 0555 0119", "5" * 41],
)  # fmt: skip
def test_what_nobody_can_dial_is_no_number(phone: str) -> None:
    with pytest.raises(RecordError, match=r"is no number that can be dialled\. Write it as"):
        check_phone(phone, "K-017")


@pytest.mark.parametrize("email", ["", "gulnara@example.org", "g.t+clinic@mail.example.org"])
def test_an_address_for_e_mail_is_one_address(email: str) -> None:
    check_contact(replace(MOTHER, email=email), "K-017")


@pytest.mark.parametrize(
    "email",
    ["gulnara", "@example.org", "a@b@c", "a b@example.org", "a@b.org\nBcc: c@d.org",
     "a@b.org\r", "a@b.org, c@d.org", "<a@b.org>", "-oQ/tmp@b.org", "=a@b.org", "a\x00@b.org",
     "a\u202e@b.org", f"{'a' * 65}@b.org"],
)  # fmt: skip
def test_no_e_mail_address_carries_more_than_itself(email: str) -> None:
    with pytest.raises(RecordError, match="is no e-mail address"):
        check_contact(replace(MOTHER, email=email), "K-017")


@pytest.mark.parametrize("name", ["", "  ", "a\x1b[2J", "a\nb", "a\u202eb", "a\ud800", "a" * 201])
def test_a_name_that_cannot_be_printed_is_no_name(name: str) -> None:
    with pytest.raises(RecordError, match="is no name that can be printed"):
        check_contact(replace(MOTHER, name=name), "K-017")


def test_names_keep_the_joiners_without_which_some_scripts_cannot_be_written() -> None:
    # Sinhala "Sri" holds a zero width joiner, Persian compound names a zero width non-joiner
    # (The Unicode Standard, section 23.2, joining controls).
    assert printable("\u0dc1\u0dca\u200d\u0dbb\u0dd3")
    assert printable("\u0639\u0644\u06cc\u200c\u0631\u0636\u0627")


def test_an_address_has_lines_but_moves_no_cursor() -> None:
    check_contact(replace(MOTHER, address="12 Quay Road\nHarbour"), "K-017")
    with pytest.raises(RecordError, match=r"K-017: the address .* holds what cannot be printed"):
        check_contact(replace(MOTHER, address="12 Quay Road\rHarbour"), "K-017")
    with pytest.raises(RecordError, match=r"the note .x+. holds what cannot be printed"):
        check_text("note", "x" * 2001, "K-017")


@pytest.mark.parametrize(
    ("limits", "words"),
    [
        (Limits(not_before_minute=24 * 60), "1440 minutes after midnight is no time of day"),
        (Limits(farthest_km=-1), "a distance of -1 km cannot be"),
        (Limits(distances_km=(("north", 20001),)), "a distance of 20001 km cannot be"),
        (Limits(distances_km=(("nroth", 12),)), "'nroth' is not a site of this clinic. "
         "Known: north, south."),
    ],
)  # fmt: skip
def test_limits_that_cannot_be_are_explained(limits: Limits, words: str) -> None:
    with pytest.raises(RecordError) as refused:
        check_limits(limits, ("north", "south"), "K-017")
    assert str(refused.value).startswith(f"K-017: {words}")


@pytest.mark.parametrize(
    ("made", "words"),
    [
        (replace(RANG, on=date(2026, 4, 21)), "the phone call on 2026-04-21 has not been yet"),
        (replace(RANG, on=date(2026, 2, 10)), "the phone call on 2026-02-10 is before the birth"),
        (replace(RANG, next_try=TODAY), "the next try on 2026-04-20 is not after this one"),
        (replace(RANG, next_try=date(2026, 4, 19)), "the next try on 2026-04-19 is not after"),
        (replace(RANG, outcome=TryOutcome.RETURNED), 'a phone call cannot end with "returned". '
         "Possible: reached, message left, no answer, wrong number."),
        (replace(RANG, note="\x1b[2J"), "the note '\\x1b[2J' holds what cannot be printed"),
    ],
)  # fmt: skip
def test_a_try_that_cannot_have_been_is_explained(made: ContactTry, words: str) -> None:
    with pytest.raises(RecordError) as refused:
        check_try(made, BORN, TODAY, "K-017")
    assert str(refused.value).startswith(f"K-017: {words}")


def test_every_way_has_outcomes_and_every_outcome_belongs_to_a_way() -> None:
    assert OUTCOMES.keys() == set(Way)
    assert {outcome for outcomes in OUTCOMES.values() for outcome in outcomes} == set(TryOutcome)
    check_try(RANG, BORN, TODAY, "K-017")
