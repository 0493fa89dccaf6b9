"""Whatever the coordinator's desk records is read back unchanged."""

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import Connection

from rehab.care.case import (
    Appointment,
    CheckKind,
    Child,
    Ending,
    EndingKind,
    Outcome,
    Prescription,
)
from rehab.care.contacts import Consent, Contact, ContactTry, Limits, TryOutcome, Way
from rehab.care.diary import Closure, Diary, Holiday, SessionPattern, Site
from rehab.care.sharing import SchoolTopic, Sharing
from rehab.errors import RecordError
from rehab.store.store import Stamp, Store, Transaction

DAYS = st.dates(date(1990, 1, 1), date(2090, 12, 31))
TEXTS = st.text(max_size=20)
MINUTES = st.integers(0, 1440)
CHILD = Child("M-014", "Ann Example", date(2026, 1, 1), family="example")
STAMP = Stamp("a clerk", datetime(2026, 3, 2, tzinfo=UTC), "as told")
FAMILY = st.one_of(
    st.builds(
        Contact,
        *(st.just(""), *(TEXTS,) * 5, st.sampled_from(Consent), st.sampled_from(Consent)),
    ),
    st.builds(
        Limits,
        st.just(""),
        st.lists(st.integers(0, 6)).map(tuple),
        st.none() | MINUTES,
        st.none() | st.integers(0, 900),
        st.lists(st.tuples(TEXTS, st.integers(0, 900)), max_size=3).map(tuple),
    ),
    st.builds(
        ContactTry,
        *(st.just(""), DAYS, st.sampled_from(Way), st.sampled_from(TryOutcome)),
        st.none() | DAYS,
        TEXTS,
    ),
    st.builds(
        Appointment,
        *(st.just(""), DAYS, st.sampled_from(Outcome), TEXTS, st.none() | MINUTES, MINUTES),
        st.booleans(),
    ),
    st.builds(Ending, st.sampled_from(EndingKind), DAYS, TEXTS, TEXTS),
    st.builds(Prescription, st.just(""), DAYS, DAYS, TEXTS, TEXTS),
    st.builds(Sharing, st.just(""), DAYS, st.lists(st.sampled_from(SchoolTopic)).map(tuple), TEXTS),
)
CODES = st.text("abcdefgh-", min_size=1, max_size=8)
OF_THE_DIARY = st.one_of(
    st.builds(Site, CODES, *(TEXTS,) * 3, *(st.just("IN"), st.just("MH"))),
    st.builds(
        SessionPattern,
        *(CODES, CODES, DAYS, MINUTES, MINUTES, st.integers(0, 900), TEXTS, st.none() | DAYS),
        st.lists(st.sampled_from(CheckKind)).map(tuple),
        st.booleans(),
        TEXTS,
    ),
    st.builds(Closure, CODES, DAYS, DAYS, *(TEXTS,) * 3),
    st.builds(Holiday, st.just("IN"), st.sampled_from(["", "MH"]), DAYS, TEXTS, st.booleans()),
)


@settings(deadline=None)
@given(facts=st.lists(FAMILY, max_size=1), diary=st.lists(OF_THE_DIARY, max_size=1))
def test_what_the_desk_records_is_read_back_as_it_was_recorded(
    tables: Connection, facts: list[Contact], diary: list[Site]
) -> None:
    # What the example before this one wrote, whether or not it held.
    tables.rollback()
    tx = Transaction(tables)
    tx.add("M-014", CHILD, STAMP)
    recorded = [
        fact if isinstance(fact, Ending) else replace(fact, id=tx.add("M-014", fact, STAMP))
        for fact in facts
        if not isinstance(fact, Ending) or tx.add("M-014", fact, STAMP)
    ]
    for record in diary:
        tx.add_to_diary(record, STAMP)
    case, found = tx.case("M-014"), tx.diary()
    limits = () if case.limits == Limits() else (case.limits,)
    endings = () if case.ending is None else (case.ending,)
    read = (*case.contacts, *limits, *case.tries, *case.appointments, *endings)
    read += (*case.prescriptions, *filter(None, [case.sharing]))
    assert case.child == CHILD
    assert read == tuple(recorded)
    assert repr(read) == repr(tuple(recorded)), "words come back as words of the vocabulary"
    parts = (*found.sites, *found.patterns, *found.closures, *found.holidays)
    assert repr(parts) == repr(tuple(diary))


NORTH = Site("north", "North clinic", country="IN", region="MH")


def test_the_same_site_is_not_recorded_twice_but_corrected(store: Store, stamp: Stamp) -> None:
    with store.transaction() as tx:
        assert tx.add_to_diary(NORTH, stamp) == "@site/north"
    with (
        pytest.raises(RecordError, match=r"this site is already recorded.*correct @site/north"),
        store.transaction() as tx,
    ):
        tx.add_to_diary(replace(NORTH, name="Another"), stamp)
    with store.transaction() as tx:
        moved = replace(NORTH, address="2 New Street")
        assert tx.correct("@site/north", moved, stamp, expected_version=1) == 2
    assert store.diary() == Diary(sites=(moved,))


def test_of_two_people_who_change_one_site_the_second_is_told(store: Store, stamp: Stamp) -> None:
    with store.transaction() as tx:
        tx.add_to_diary(NORTH, stamp)
        tx.correct("@site/north", replace(NORTH, name="First"), stamp, expected_version=1)
    with (
        pytest.raises(RecordError, match="this was changed by someone else: version 2"),
        store.transaction() as tx,
    ):
        tx.correct("@site/north", replace(NORTH, name="Second"), stamp, expected_version=1)
    assert [site.name for site in store.diary().sites] == ["First"]


def test_a_site_cannot_take_the_place_of_another(store: Store, stamp: Stamp) -> None:
    with store.transaction() as tx:
        tx.add_to_diary(NORTH, stamp)
    with (
        pytest.raises(RecordError, match="the site given is another one, @site/south"),
        store.transaction() as tx,
    ):
        tx.correct("@site/north", replace(NORTH, code="south"), stamp, expected_version=1)


def test_a_withdrawn_holiday_is_gone_from_the_diary_and_stays_known(
    store: Store, stamp: Stamp
) -> None:
    holiday = Holiday("IN", "MH", date(2026, 5, 1), "Labour day")
    with store.transaction() as tx:
        key = tx.add_to_diary(holiday, stamp)
        tx.withdraw(key, stamp, expected_version=1)
    assert key == "@holiday/IN-MH/2026-05-01"
    assert store.diary() == Diary()
    with (
        pytest.raises(RecordError, match="already recorded, and withdrawn by a nurse"),
        store.transaction() as tx,
    ):
        tx.add_to_diary(holiday, stamp)
