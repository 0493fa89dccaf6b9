"""Prescriptions as their prescriber wrote them: what can be recorded, and which hold on a day."""

from datetime import date

from rehab.care.case import Case, Prescription
from rehab.care.contact_checks import printable
from rehab.errors import RecordError

LONGEST_TEXT = 500
# Not a rule of treatment: a slip in the year would be printed as if it held for years.
LONGEST_DAYS = 366


def in_force(case: Case, today: date) -> tuple[Prescription, ...]:
    """Those that hold on `today`, the first and the last day counted in."""
    return tuple(p for p in case.prescriptions if p.on <= today <= p.until)


def check_prescription(case: Case, prescription: Prescription, today: date) -> None:
    """Raises RecordError for days that cannot be, and a text that cannot be printed as written."""
    on, until, where = prescription.on, prescription.until, case.child.number
    if not case.child.date_of_birth <= on <= today:
        raise RecordError(
            f"the prescription of {on} lies outside the child's life so far "
            f"({case.child.date_of_birth} to {today}).",
            where=where,
            do="Check the date, or give --today.",
        )
    if until < on:
        raise RecordError(
            f"the prescription of {on} would end before it begins, on {until}.",
            where=where,
            do="Give the last day on which it holds.",
        )
    if (until - on).days > LONGEST_DAYS:
        raise RecordError(
            f"the prescription of {on} would hold until {until}, longer than a year.",
            where=where,
            do="Check the year. What goes on is prescribed anew, so that somebody looks at it.",
        )
    if not prescription.prescriber.strip() or not printable(prescription.prescriber):
        raise RecordError(
            f"{prescription.prescriber!r} is no name that can be printed.",
            where=where,
            do="Give the name of the person who prescribed it.",
        )
    _check_text(prescription.text, where)


def _check_text(text: str, where: str) -> None:
    if not text.strip():
        raise RecordError(
            "the prescription says nothing.", where=where, do="Write it as the prescriber did."
        )
    if len(text) > LONGEST_TEXT:
        raise RecordError(
            f"the prescription has {len(text)} characters, more than the {LONGEST_TEXT} that a "
            "letter has room for.",
            where=where,
            do="Ask the prescriber to say it in fewer words.",
        )
    for number, line in enumerate(text.split("\n"), 1):
        if not printable(line, LONGEST_TEXT):
            wrong = next(character for character in line if not printable(character))
            raise RecordError(
                f"line {number} of the prescription holds U+{ord(wrong):04X}, which cannot be "
                "printed, or would change what is read.",
                where=where,
                do="Type it anew, in letters, digits, signs and plain spaces.",
            )
