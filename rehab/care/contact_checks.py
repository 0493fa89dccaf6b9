"""What can be recorded of a family's contacts: numbers that can be dialled, texts that print."""

import re
from datetime import date

from rehab.care.contacts import Contact, ContactTry, Limits, TryOutcome, Way
from rehab.errors import RecordError

PHONE = re.compile(r"\+?[(*#]?[0-9][0-9 ()./*#-]*( ?(ext\.?|x) ?[0-9]+)?")
FEWEST_DIGITS, LONGEST_PHONE = 4, 40
EMAIL = re.compile(r"\w[^\s@<>()\[\],;:\"\\]{0,63}@\w[^\s@<>()\[\],;:\"\\]{0,188}")
LONGEST_WORD, LONGEST_NAME, LONGEST_TEXT = 40, 200, 2000
MINUTES_OF_A_DAY = 24 * 60
FARTHEST_KM = 20000
# Without these two, names in several scripts cannot be written.
_JOINERS = str.maketrans("", "", "\N{ZERO WIDTH JOINER}\N{ZERO WIDTH NON-JOINER}")

_SPOKEN = (TryOutcome.REACHED, TryOutcome.MESSAGE_LEFT, TryOutcome.NO_ANSWER)
_WRITTEN = (TryOutcome.SENT, TryOutcome.RETURNED, TryOutcome.REACHED)
OUTCOMES = {
    Way.PHONE: (*_SPOKEN, TryOutcome.WRONG_NUMBER),
    Way.TEXT: (*_WRITTEN, TryOutcome.WRONG_NUMBER),
    Way.EMAIL: _WRITTEN,
    Way.LETTER: _WRITTEN,
    Way.COMMUNITY_WORKER: (TryOutcome.DONE, *_SPOKEN),
    Way.IN_PERSON: _SPOKEN,
    Way.SAFEGUARDING: (TryOutcome.DONE,),
}


def printable(text: str, longest: int = LONGEST_NAME) -> bool:
    """Whether `text` is one line that no terminal, letter or file takes for a command."""
    return text.translate(_JOINERS).isprintable() and len(text) <= longest


def check_phone(phone: str, where: str) -> None:
    """Raises RecordError for what nobody can dial; "" stands for no number."""
    digits = sum(character.isdigit() for character in phone)
    possible = PHONE.fullmatch(phone) and len(phone) <= LONGEST_PHONE
    if phone and not (possible and digits >= FEWEST_DIGITS):
        raise RecordError(
            f"{phone!r} is no number that can be dialled.",
            where=where,
            do=f"Write it as it is dialled, at least {FEWEST_DIGITS} of the digits 0 to 9, such "
            'as "+00 555 0117".',
        )


def check_contact(contact: Contact, where: str) -> None:
    """Raises RecordError for a name, number or address that cannot be."""
    if not contact.name.strip() or not printable(contact.name):
        raise RecordError(
            f"{contact.name!r} is no name that can be printed.",
            where=where,
            do="Give the name of the person whom one asks for.",
        )
    check_phone(contact.phone, where)
    if contact.email and not (EMAIL.fullmatch(contact.email) and printable(contact.email)):
        raise RecordError(
            f"{contact.email!r} is no e-mail address.",
            where=where,
            do="Write one address, such as gulnara@example.org.",
        )
    check_text("relation", contact.relation, where)
    check_text("address", contact.address.replace("\n", " "), where)


def check_text(name: str, text: str, where: str) -> None:
    """Raises RecordError for a text that holds more than printable characters."""
    if not printable(text, LONGEST_TEXT):
        raise RecordError(
            f"the {name} {text[:LONGEST_WORD]!r} holds what cannot be printed, or is very long.",
            where=where,
            do="Write it anew, in letters, digits and signs.",
        )


def check_limits(limits: Limits, sites: tuple[str, ...], where: str) -> None:
    """Raises RecordError for a time or distance that cannot be, or a site the clinic has not."""
    minute, farthest = limits.not_before_minute, limits.farthest_km
    if minute is not None and not 0 <= minute < MINUTES_OF_A_DAY:
        raise RecordError(
            f"{minute} minutes after midnight is no time of day.", where=where, do="Give 10:00."
        )
    distances = [km for _, km in limits.distances_km] + ([] if farthest is None else [farthest])
    if any(not 0 <= km <= FARTHEST_KM for km in distances):
        raise RecordError(
            f"a distance of {max(distances, key=abs)} km cannot be.",
            where=where,
            do="Give whole kilometres.",
        )
    unknown = [site for site, _ in limits.distances_km if site not in sites]
    if unknown:
        known = f"Known: {', '.join(sites)}." if sites else "The diary has no site yet."
        raise RecordError(f"{unknown[0]!r} is not a site of this clinic.", where=where, do=known)


def check_try(made: ContactTry, born: date, today: date, where: str) -> None:
    """Raises RecordError for a try that cannot have been, or an outcome that it cannot have."""
    if made.on > today:
        raise RecordError(
            f"the {made.way} on {made.on} has not been yet (today is {today}).",
            where=where,
            do="Check the date, or give --today. A try that is planned is a next try.",
        )
    if made.on < born:
        raise RecordError(
            f"the {made.way} on {made.on} is before the birth on {born}.",
            where=where,
            do="Check both dates.",
        )
    if made.next_try is not None and made.next_try <= made.on:
        raise RecordError(
            f"the next try on {made.next_try} is not after this one on {made.on}.",
            where=where,
            do="Give a later day. Another call on the same day is logged as another try.",
        )
    if made.outcome not in OUTCOMES[made.way]:
        raise RecordError(
            f'a {made.way} cannot end with "{made.outcome}".',
            where=where,
            do=f"Possible: {', '.join(OUTCOMES[made.way])}.",
        )
    check_text("note", made.note, where)
