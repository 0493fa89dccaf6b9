"""What reaches a family in lines of text: contacts, limits, what was changed, what comes next."""

from collections.abc import Iterable, Iterator
from dataclasses import fields
from datetime import date

from rehab.care.case import Case, Child, Outcome
from rehab.care.contacts import Consent, Contact, ContactTry, Limits, TryOutcome, Way
from rehab.care.recall_reasons import arranged_at, asked
from rehab.care.sharing import Sharing
from rehab.contact_desk import AfterTry, without_consent
from rehab.measures.clock import clock
from rehab.measures.dates import WEEKDAYS
from rehab.store.store import Record, Version

OF_CHILD = ("language", "phone", "family")
# Which part of a contact is wrong when a try in this way went nowhere.
PART = {Way.PHONE: "phone", Way.TEXT: "phone", Way.EMAIL: "email", Way.LETTER: "address"}


def limits_text(limits: Limits) -> str:
    """What the family has stated, "" when it has stated nothing."""
    said = []
    if limits.weekdays:
        said.append("can come on " + ", ".join(WEEKDAYS[day] for day in limits.weekdays))
    if limits.not_before_minute is not None:
        said.append(f"not before {clock(limits.not_before_minute)}")
    if limits.farthest_km is not None:
        said.append(f"at most {limits.farthest_km} km")
    if limits.distances_km:
        sites = ", ".join(f"{site} {km} km" for site, km in limits.distances_km)
        said.append(f"from home to {sites}")
    return "; ".join(said)


def sharing_text(sharing: Sharing) -> str:
    """What a school may be told besides patch and glasses, and who agreed to that."""
    told = ", ".join(sharing.school) or "nothing more than patch and glasses"
    return f"a school may be told: {told} (agreed by {sharing.agreed_by}, {sharing.on})"


def contact_lines(contact: Contact) -> Iterator[str]:
    """The contact under its name; whether it agreed to be written to stands beside the way."""
    texts = f"text messages: {contact.text_consent}"
    yield f"phone   {contact.phone or 'not recorded'}; {texts}"
    yield f"e-mail  {contact.email or 'not recorded'}; consent to e-mail: {contact.email_consent}"
    first, *more = (contact.address or "not recorded").split("\n")
    yield f"address {first}"
    yield from (f"        {line}" for line in more)


def named(contact: Contact) -> str:
    return f"{contact.name} ({contact.relation})" if contact.relation else contact.name


def try_text(made: ContactTry, by: str = "") -> str:
    who = f" ({by})" if by else ""
    again = f"; next try {made.next_try}" if made.next_try else ""
    note = f"; {made.note}" if made.note else ""
    return f"{made.on}  {made.way}: {made.outcome}{who}{again}{note}"


def changes(versions: Iterable[Version]) -> Iterator[tuple[Version, str]]:
    """Each version with what it changed; those of the child only where they bear on reaching it."""
    before: dict[str, Record] = {}
    for version in versions:
        record = version.record
        if not isinstance(record, Child | Contact | Limits | Sharing):
            continue
        if version.withdrawn:
            yield version, "withdrawn"
        elif said := _changed(before.get(version.key), record):
            yield version, said
        before[version.key] = record


def next_lines(after: AfterTry, today: date) -> Iterator[str]:
    """What comes after a try, in the order in which somebody acts on it."""
    made = next(t for t in after.case.tries if t.id == after.key)
    yield from _consent(after.case, made.way)
    yield from _to_correct(after.case, made)
    ending = after.case.ending
    if ending is not None and ending.on <= today:
        yield (
            f"Mind that care here ended on {ending.on} ({ending.kind}): the recall list does not "
            "ask for this family."
        )
        return
    if after.told_of is not None:
        yield f"The loop is closed: the family was reached and has {after.told_of.on}."
    for heard in after.heard_of:
        cancelled = " is cancelled" if heard.outcome is Outcome.CANCELLED_BY_CLINIC else ""
        yield f"Counts as told: appointment {heard.on}{arranged_at(heard)}{cancelled}."
    ahead = [(step.due_on, asked(step.step)) for step in after.steps if step.due_on > today]
    line = after.line
    if line is not None and line.waits_until:
        ahead.append((line.waits_until, _again(made, line.waits_until)))
    elif line is not None:
        yield f"On the recall list, {line.contact}: {_now(after, today)}."
    if ahead:
        told = "; ".join(f"{day}, {what}" for day, what in sorted(ahead))
        yield f"Next on the list: {told}."
    elif line is None:
        yield "Nothing more is due: the recall list does not ask for this family."


def _again(made: ContactTry, on: date) -> str:
    if on == made.next_try:
        return "next try"
    return f"again, since a next try on {made.next_try} is too far ahead for this child"


def _now(after: AfterTry, today: date) -> str:
    assert after.line is not None
    due = [f"{asked(s.step)} due {s.due_on}" for s in after.steps if s.due_on <= today]
    return ", ".join(due) or after.line.reasons[0].sentence


def _consent(case: Case, way: Way) -> Iterator[str]:
    written = "text messages" if way is Way.TEXT else "e-mail"
    if way in (Way.TEXT, Way.EMAIL) and not case.contacts:
        yield f"Mind that no consent to {written} is recorded for this family: ask for it."
    for contact, consent in without_consent(case, way):
        said = "said no to" if consent is Consent.NO else "was not asked about"
        yield f"Mind that {named(contact)} {said} {written}: ask before you write again."


def _to_correct(case: Case, made: ContactTry) -> Iterator[str]:
    """Where the number or address stands that went nowhere."""
    if made.outcome not in (TryOutcome.WRONG_NUMBER, TryOutcome.RETURNED):
        return
    part = PART[made.way]
    for contact in case.contacts:
        if wrong := getattr(contact, part):
            shown = " ".join(wrong.split())
            yield f"If it was {shown} of {named(contact)}, correct that; to empty it:"
            yield f'    rehab contact change {contact.id} --{part} "" --why "{made.outcome}"'
    if part == "phone" and case.child.phone:
        yield f"If it was {case.child.phone}, correct that; to empty it:"
        yield f'    rehab child change {case.child.number} --phone "" --why "{made.outcome}"'


def _changed(before: Record | None, after: Child | Contact | Limits | Sharing) -> str:
    if isinstance(after, Limits):
        return limits_text(after) or "stated no limits"
    if isinstance(after, Sharing):
        return sharing_text(after)
    names = OF_CHILD if isinstance(after, Child) else tuple(f.name for f in fields(after))
    parts = []
    for name in names:
        was, now = getattr(before, name, ""), getattr(after, name)
        if name != "id" and was != now and not (before is None and now == Consent.UNKNOWN):
            came_from = f" (was {was or 'none'})" if before is not None else ""
            parts.append(f"{name.replace('_', ' ')} {now or 'none'}{came_from}")
    return " ".join(", ".join(parts).split())
