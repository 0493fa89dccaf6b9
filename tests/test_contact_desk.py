"""The coordinator's desk: contacts and limits as they are now, and where a try leaves a family."""

from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, date, datetime, timedelta

import pytest

from rehab.care.case import Appointment, Child, Eye, Outcome, Procedure, Surgery
from rehab.care.contacts import Consent, Contact, ContactTry, Limits, TryOutcome, Way
from rehab.care.diary import Site
from rehab.care.recall_reasons import ReasonKind
from rehab.care.tracing import TracingStep
from rehab.contact_desk import (
    add_contact,
    change_child,
    change_contact,
    log_try,
    reach_of,
    remove_contact,
    state_limits,
    without_consent,
)
from rehab.errors import RecordError
from rehab.settings import Clinic, Settings
from rehab.store.store import Stamp, create_or_upgrade
from rehab.workflow import (
    Desk,
    add_child,
    add_surgery,
    open_desk,
    recall,
    settle_appointment,
)

TODAY = date(2026, 4, 20)
STAMP = Stamp("M. Okoro", datetime(2026, 4, 20, tzinfo=UTC))
WHY = Stamp("S. Lindqvist", datetime(2026, 4, 21, tzinfo=UTC), "the aunt rang")
MOTHER = Contact("", "Gulnara T", "mother", "+00 555 0118")


@pytest.fixture(scope="module")
def empty(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    settings = Settings(tmp_path_factory.mktemp("desk"), Clinic("Harbour Eye Clinic"))
    create_or_upgrade(settings.database_url)
    opened = open_desk(settings)
    with closing(opened.store):
        yield opened


@pytest.fixture
def number(empty: Desk) -> str:
    """A child of each test's own, in one database for all of them."""
    child = Child(f"K-{len(empty.store.children()) + 1}", "Asel T", date(2026, 2, 11))
    return add_child(empty, child, today=TODAY, stamp=STAMP)


def test_only_what_is_given_changes_and_the_old_number_stays_in_the_history(
    empty: Desk, number: str
) -> None:
    key = add_contact(empty, number, MOTHER, stamp=STAMP)
    now = change_contact(empty, key, {"phone": "+00 555 0119"}, stamp=WHY, seen=1)
    assert now == Contact(key, "Gulnara T", "mother", "+00 555 0119")
    assert empty.store.case(number).contacts == (now,)
    told = [(v.stamp.by, v.stamp.reason, v.record) for v in reach_of(empty, number).history[1:]]
    assert [(by, why, c.phone) for by, why, c in told if isinstance(c, Contact)] == [
        ("M. Okoro", "", "+00 555 0118"),
        ("S. Lindqvist", "the aunt rang", "+00 555 0119"),
    ]


def test_what_someone_else_changed_meanwhile_is_not_overwritten(empty: Desk, number: str) -> None:
    key = add_contact(empty, number, MOTHER, stamp=STAMP)
    change_contact(empty, key, {"text_consent": Consent.NO}, stamp=WHY, seen=1)
    with pytest.raises(RecordError, match=r"version 2 is by S. Lindqvist .* you saw version 1"):
        change_contact(empty, key, {"text_consent": Consent.YES}, stamp=WHY, seen=1)
    with pytest.raises(RecordError, match="you saw version 1"):
        remove_contact(empty, key, stamp=WHY, seen=1)
    assert empty.store.case(number).contacts[0].text_consent is Consent.NO


def test_a_change_needs_a_reason_a_contact_and_a_difference(empty: Desk, number: str) -> None:
    key = add_contact(empty, number, MOTHER, stamp=STAMP)
    with pytest.raises(RecordError, match="needs a reason"):
        change_contact(empty, key, {"phone": "+00 555 0119"}, stamp=STAMP)
    with pytest.raises(RecordError, match="this is recorded so already"):
        change_contact(empty, key, {"phone": "+00 555 0118"}, stamp=WHY)
    with pytest.raises(RecordError, match=f"See which there are: rehab contact list {number}"):
        change_contact(empty, f"{number}/C9", {"phone": "+00 555 0119"}, stamp=WHY)
    remove_contact(empty, key, stamp=WHY)
    with pytest.raises(RecordError, match="or it was withdrawn"):
        remove_contact(empty, key, stamp=WHY)
    assert empty.store.case(number).contacts == ()


def test_limits_stay_until_something_else_is_stated_or_they_are_cleared(
    empty: Desk, number: str
) -> None:
    with empty.store.transaction() as tx:
        tx.add_to_diary(Site(f"north-{number}", "North"), STAMP)
    first = {"weekdays": (0, 3), "farthest_km": 40}
    state_limits(empty, number, first, clear=False, stamp=STAMP)
    more = {"not_before_minute": 600, "distances_km": ((f"north-{number}", 12),)}
    state_limits(empty, number, more, clear=False, stamp=STAMP)
    assert empty.store.case(number).limits == Limits(
        f"{number}/L1", (0, 3), 600, 40, ((f"north-{number}", 12),)
    )
    state_limits(empty, number, {"farthest_km": 10}, clear=True, stamp=STAMP)
    assert empty.store.case(number).limits == Limits(f"{number}/L1", farthest_km=10)
    with pytest.raises(RecordError, match="'nroth' is not a site"):
        state_limits(empty, number, {"distances_km": (("nroth", 1),)}, clear=False, stamp=STAMP)


def test_a_child_is_changed_under_the_checks_of_a_new_one(empty: Desk, number: str) -> None:
    now = change_child(empty, number, {"language": "sw", "family": "temir"}, today=TODAY, stamp=WHY)
    assert (now.language, now.family) == ("sw", "temir")
    for wrong in ({"phone": "+1=cmd"}, {"family": "a\x1b"}, {"name": " "}, {"language": ""}):
        with pytest.raises(RecordError):
            change_child(empty, number, wrong, today=TODAY, stamp=WHY)
    assert empty.store.case(number).child == now


def test_nobody_is_written_to_as_though_they_had_agreed(empty: Desk, number: str) -> None:
    for consent, name in ((Consent.NO, "A"), (Consent.UNKNOWN, "B")):
        add_contact(empty, number, Contact("", name, text_consent=consent), stamp=STAMP)
    case = empty.store.case(number)
    assert [(c.name, said) for c, said in without_consent(case, Way.TEXT)] == [
        ("A", Consent.NO),
        ("B", Consent.UNKNOWN),
    ]
    assert without_consent(case, Way.PHONE) == ()
    add_contact(empty, number, Contact("", "C", text_consent=Consent.YES), stamp=STAMP)
    assert without_consent(empty.store.case(number), Way.TEXT) == ()


def test_a_try_that_is_refused_is_not_recorded(empty: Desk, number: str) -> None:
    ahead = ContactTry("", TODAY + timedelta(days=1), Way.PHONE, TryOutcome.REACHED)
    with pytest.raises(RecordError, match="has not been yet"):
        log_try(empty, number, ahead, today=TODAY, stamp=STAMP)
    assert empty.store.case(number).tries == ()
    with pytest.raises(RecordError, match="nothing is recorded as K-999"):
        log_try(empty, "K-999", ahead, today=TODAY, stamp=STAMP)


def test_after_a_try_the_family_stands_where_the_recall_list_has_it(
    empty: Desk, number: str
) -> None:
    made = ContactTry("", TODAY, Way.PHONE, TryOutcome.NO_ANSWER, TODAY + timedelta(days=2))
    after = log_try(empty, number, made, today=TODAY, stamp=STAMP)
    assert after.line is not None
    assert (after.key, after.line.waits_until) == (f"{number}/T1", date(2026, 4, 22))
    assert (after.steps, after.told_of) == ((), None)


def test_two_weeks_of_a_child_not_brought_in_the_first_weeks_after_surgery(
    empty: Desk, number: str
) -> None:
    """As tables/tracing_step.toml says: call on day 0, letter 2, community worker 4, new date 7."""
    removed = Surgery("", Eye.RIGHT, date(2026, 3, 30), Procedure.LENS_REMOVAL)
    add_surgery(empty, number, removed, today=TODAY, stamp=STAMP)

    def april(day: int) -> date:
        return TODAY.replace(day=1) + timedelta(days=day - 1)

    def missed(day: int) -> None:
        settle_appointment(
            empty, number, april(day), Outcome.WAS_NOT_BROUGHT, today=april(day), stamp=STAMP
        )

    def book(day: int) -> None:
        with empty.store.transaction() as tx:
            tx.add(number, Appointment("", april(day)), STAMP)

    def tried(day: int, way: Way, outcome: TryOutcome) -> tuple[str, ...]:
        """The steps that are ahead after this try."""
        made = ContactTry("", april(day), way, outcome)
        after = log_try(empty, number, made, today=april(day), stamp=STAMP)
        return tuple(f"{s.due_on:%d %b} {s.step}" for s in after.steps if s.due_on > april(day))

    def due(day: int) -> set[str]:
        """The steps for which the recall list of the day asks."""
        lines = recall(empty, today=april(day), by=april(day))
        asked = [
            r.sentence
            for line in lines
            for r in line.reasons
            if line.child.number == number and r.kind is ReasonKind.TRACING
        ]
        return {step.value for step in TracingStep for said in asked if step in said}

    book(20)
    missed(20)
    # Monday: the call is due and stays so, since nobody spoke with the family.
    assert due(20) == {"same-day call"}
    assert tried(20, Way.PHONE, TryOutcome.MESSAGE_LEFT) == (
        "22 Apr letter",
        "24 Apr community worker",
        "27 Apr new date",
    )
    tried(20, Way.PHONE, TryOutcome.NO_ANSWER)
    tried(20, Way.TEXT, TryOutcome.SENT)
    tried(20, Way.PHONE, TryOutcome.WRONG_NUMBER)
    assert due(21) == {"same-day call"}
    # Wednesday: the letter joins them until it is sent; an e-mail is no letter.
    tried(22, Way.EMAIL, TryOutcome.SENT)
    assert due(22) == {"same-day call", "letter"}
    tried(22, Way.LETTER, TryOutcome.SENT)
    assert due(22) == {"same-day call"}
    # Thursday: the letter comes back, and so does its step.
    assert tried(23, Way.LETTER, TryOutcome.RETURNED)[0] == "24 Apr community worker"
    assert due(23) == {"same-day call", "letter"}
    # Friday: a community worker who found nobody has not settled it.
    tried(24, Way.COMMUNITY_WORKER, TryOutcome.NO_ANSWER)
    assert due(24) == {"same-day call", "letter", "community worker"}
    tried(24, Way.COMMUNITY_WORKER, TryOutcome.DONE)
    assert due(24) == {"same-day call", "letter"}
    # Monday: the family is reached, and only the new date is open until it is booked.
    assert due(27) == {"same-day call", "letter", "new date"}
    tried(27, Way.PHONE, TryOutcome.REACHED)
    assert due(27) == {"new date"}
    book(29)
    assert due(27) == set()
    # Wednesday: missed again, so that all begins anew, and the pattern raises the question.
    missed(29)
    assert tried(29, Way.PHONE, TryOutcome.NO_ANSWER) == (
        "30 Apr safeguarding question",
        "01 May letter",
        "03 May community worker",
        "06 May new date",
    )
    assert due(31) == {"same-day call", "safeguarding question", "letter"}
    # Reached, and told of a day: only the question is left, until it was put.
    book(34)
    tried(31, Way.IN_PERSON, TryOutcome.REACHED)
    assert due(31) == {"safeguarding question"}
    assert tried(31, Way.SAFEGUARDING, TryOutcome.DONE) == ()
    assert due(31) == set()
