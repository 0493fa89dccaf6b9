"""Facts are added, corrected and withdrawn; nothing recorded is ever lost."""

import itertools
import threading
from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Any

import pytest
from sqlalchemy import event

from rehab.care.case import (
    Appointment,
    Case,
    CheckKind,
    Child,
    Ending,
    EndingKind,
    Examination,
    Eye,
    EyeFindings,
    Method,
    Outcome,
    Procedure,
    Regimen,
    Surgery,
    Sutures,
    VisualAxis,
)
from rehab.care.changes import Entry, EntryKind, EntryState
from rehab.errors import RecordError
from rehab.measures.acuity import parse_acuity
from rehab.measures.pressure import Pressure
from rehab.measures.refraction import Refraction
from rehab.store.store import Record, Stamp, Store

ANN = Child("M-014", "Ann Example", date(2026, 1, 5), gestation_weeks=38)
FIRST = Surgery("", Eye.RIGHT, date(2026, 2, 10), Procedure.LENS_REMOVAL)
SECOND = Surgery("", Eye.LEFT, date(2026, 2, 17), Procedure.LENS_REMOVAL, Sutures.ABSORBABLE)
FINDINGS = (
    EyeFindings(
        Eye.LEFT,
        (parse_acuity("6.5 cy/cm at 55 cm", test="grating cards"), parse_acuity("6/18")),
        pressure=Pressure(14, "rebound tonometer"),
        refraction=Refraction(80, -4, 90),
    ),
    EyeFindings(Eye.RIGHT, visual_axis=VisualAxis.CLEAR),
)
EXAMINED = Examination(
    "", date(2026, 3, 2), FINDINGS, done=((CheckKind.FUNDUS, Eye.LEFT),), note="slept well"
)
PATCHING = Regimen("", Eye.LEFT, Method.PATCH, 120, 7, date(2026, 3, 2), "an orthoptist", "agreed")
BOOKED = Appointment("", date(2026, 4, 1))
MOVED = Ending(EndingKind.MOVED, date(2026, 9, 1))
FACTS: tuple[Record, ...] = (FIRST, SECOND, EXAMINED, PATCHING, BOOKED, MOVED)


def _later(reason: str, by: str = "a doctor") -> Stamp:
    return Stamp(by, datetime(2026, 3, 9, 12, 0, tzinfo=UTC), reason)


def _add(store: Store, stamp: Stamp, *facts: Record, number: str = "M-014") -> list[str]:
    with store.transaction() as tx:
        return [tx.add(number, fact, stamp) for fact in facts]


def test_keys_are_the_childs_number_the_kind_and_a_count(store: Store, stamp: Stamp) -> None:
    assert _add(store, stamp, ANN, *FACTS) == [
        "M-014",
        "M-014/S1",
        "M-014/S2",
        "M-014/X1",
        "M-014/R1",
        "M-014/A1",
        "M-014/E1",
    ]
    assert [s.id for s in store.case("M-014").surgeries] == ["M-014/S1", "M-014/S2"]


def _without_keys(case: Case) -> Case:
    return replace(
        case,
        surgeries=tuple(replace(s, id="") for s in case.surgeries),
        examinations=tuple(replace(e, id="") for e in case.examinations),
        regimens=tuple(replace(r, id="") for r in case.regimens),
        appointments=tuple(replace(a, id="") for a in case.appointments),
    )


def test_a_reloaded_case_is_the_same_in_whatever_order_its_facts_were_added(
    store: Store, stamp: Stamp
) -> None:
    cases = set()
    for count, order in enumerate(itertools.permutations(FACTS)):
        if count % 24 == 0:
            number = f"M-{count}"
            _add(store, stamp, replace(ANN, number=number), *order, number=number)
            cases.add(replace(_without_keys(store.case(number)), child=ANN))
    assert cases == {
        Case(ANN, (FIRST, SECOND), (EXAMINED,), (PATCHING,), (BOOKED,), MOVED),
    }


def test_a_correction_supersedes_and_the_history_keeps_who_when_and_why(
    store: Store, stamp: Stamp
) -> None:
    _add(store, stamp, ANN, EXAMINED)
    (examined,) = store.case("M-014").examinations
    corrected = replace(examined, findings=FINDINGS[:1], note="")
    why = _later("the right eye was not looked at")
    with store.transaction() as tx:
        assert tx.correct("M-014/X1", corrected, why, store.version("M-014/X1")) == 2
    assert store.case("M-014").examinations == (corrected,)
    assert store.version("M-014/X1") == 2
    history = [v for v in store.history("M-014") if v.key == "M-014/X1"]
    assert [(v.version, v.record, v.stamp, v.withdrawn) for v in history] == [
        (1, examined, stamp, False),
        (2, corrected, why, False),
    ]


def test_a_withdrawn_fact_leaves_the_case_but_not_the_history_and_its_key_is_not_used_again(
    store: Store, stamp: Stamp
) -> None:
    _add(store, stamp, ANN, FIRST)
    with store.transaction() as tx:
        tx.withdraw("M-014/S1", _later("another child's surgery"), 1)
    assert store.case("M-014").surgeries == ()
    assert [(v.version, v.withdrawn) for v in store.history("M-014") if v.key == "M-014/S1"] == [
        (1, False),
        (2, True),
    ]
    assert _add(store, stamp, FIRST) == ["M-014/S2"], "the same surgery may be recorded anew"
    with (
        pytest.raises(RecordError, match="withdrawn already, by a doctor on 2026-03-09"),
        store.transaction() as tx,
    ):
        tx.withdraw("M-014/S1", _later("again"), 2)


def test_a_correction_brings_a_withdrawn_fact_back(store: Store, stamp: Stamp) -> None:
    _add(store, stamp, ANN)
    with store.transaction() as tx:
        tx.withdraw("M-014", _later("entered twice"), 1)
    assert store.children() == ()
    with pytest.raises(RecordError, match="nothing is recorded as M-014"):
        store.case("M-014")
    with pytest.raises(RecordError, match="M-014: no child has this number"):
        _add(store, stamp, FIRST)
    with pytest.raises(RecordError, match=r"and withdrawn by a doctor on 2026-03-09 \(entered tw"):
        _add(store, stamp, ANN)
    with store.transaction() as tx:
        tx.correct("M-014", ANN, _later("it was not entered twice"), 2)
    assert store.children() == (ANN,)


def test_a_correction_of_what_someone_else_changed_is_refused(store: Store, stamp: Stamp) -> None:
    _add(store, stamp, ANN, FIRST)
    with store.transaction() as tx:
        tx.correct("M-014/S1", replace(FIRST, sutures=Sutures.NONE), _later("seen in theatre"), 1)
    with pytest.raises(RecordError) as correction, store.transaction() as tx:
        tx.correct("M-014/S1", FIRST, _later("misread"), 1)
    with pytest.raises(RecordError) as withdrawal, store.transaction() as tx:
        tx.withdraw("M-014/S1", _later("misread"), 1)
    assert str(correction.value) == str(withdrawal.value)
    assert str(correction.value) == (
        "M-014/S1: this was changed by someone else: version 2 is by a doctor on 2026-03-09 "
        "(seen in theatre); you saw version 1. Look at it again, then repeat your change."
    )


@pytest.mark.parametrize(
    ("fact", "message"),
    [
        (FIRST, r"M-014/S1: this surgery \(right, 2026-02-10\) is already .* correct M-014/S1"),
        (replace(FIRST, procedure=Procedure.SECONDARY_IMPLANT), "M-014/S1: this surgery"),
        (Examination("", EXAMINED.on), "M-014/X1: this examination .* correct M-014/X1"),
        (replace(PATCHING, minutes_per_day=60), "M-014/R1: this regimen .* correct M-014/R1"),
        (BOOKED, r"M-014/A1: this appointment \(2026-04-01, booked\)"),
        (Ending(EndingKind.DIED, date(2026, 10, 1)), "M-014/E1: this ending"),
        (ANN, "M-014: a child with this number is already recorded. To change it, correct M-014"),
    ],
)
def test_what_is_recorded_already_is_named_and_not_recorded_twice(
    store: Store, stamp: Stamp, fact: Record, message: str
) -> None:
    _add(store, stamp, ANN, *FACTS)
    before = store.history("M-014")
    with pytest.raises(RecordError, match=message):
        _add(store, stamp, fact)
    assert store.history("M-014") == before


def test_a_correction_may_not_make_two_facts_alike(store: Store, stamp: Stamp) -> None:
    _add(store, stamp, ANN, FIRST, SECOND)
    with pytest.raises(RecordError, match="M-014/S1: this surgery"), store.transaction() as tx:
        tx.correct("M-014/S2", FIRST, _later("misread"), 1)


def test_a_day_may_be_booked_again_after_a_cancellation(store: Store, stamp: Stamp) -> None:
    cancelled = replace(BOOKED, outcome=Outcome.CANCELLED_BY_FAMILY)
    _add(store, stamp, ANN, BOOKED)
    with store.transaction() as tx:
        tx.correct("M-014/A1", cancelled, _later("the family rang"), 1)
    assert _add(store, stamp, BOOKED) == ["M-014/A2"]


@pytest.mark.parametrize(
    ("key", "record", "message"),
    [
        ("M-014/S1", EXAMINED, "an? examination cannot take the place of a surgery"),
        ("M-014/S1", replace(SECOND, id="M-014/S2"), "the record given is another fact, M-014/S2"),
        ("M-014", replace(ANN, number="M-015"), "a child's number cannot be changed"),
        ("M-014/S9", FIRST, "nothing is recorded as M-014/S9"),
        ("M-014/Q1", FIRST, "nothing is recorded as M-014/Q1"),
    ],
)
def test_a_fact_is_corrected_only_by_one_of_its_own_kind(
    store: Store, stamp: Stamp, key: str, record: Record, message: str
) -> None:
    _add(store, stamp, ANN, FIRST)
    with pytest.raises(RecordError, match=message), store.transaction() as tx:
        tx.correct(key, record, _later("misread"), 1)


@pytest.mark.parametrize("number", ["", " ", "M/14", " M-014"])
def test_a_number_that_could_be_taken_for_another_key_is_refused(
    store: Store, stamp: Stamp, number: str
) -> None:
    with pytest.raises(RecordError, match="cannot be a child's number"):
        _add(store, stamp, replace(ANN, number=number), number=number)


def test_one_eye_is_named_once_in_an_examination(store: Store, stamp: Stamp) -> None:
    twice = replace(EXAMINED, findings=(EyeFindings(Eye.LEFT), EyeFindings(Eye.LEFT)))
    with pytest.raises(RecordError, match="M-014/X1: an examination names the same eye twice"):
        _add(store, stamp, ANN, twice)
    assert store.children() == (), "the child of the same transaction is undone too"


def test_every_write_says_who_and_when_and_every_change_says_why(
    store: Store, stamp: Stamp
) -> None:
    now = datetime(2026, 3, 2, tzinfo=UTC)
    with pytest.raises(RecordError, match="nobody is named"):
        Stamp(" ", now, "seen")
    with pytest.raises(RecordError, match="does not name its zone"):
        Stamp("a nurse", datetime(2026, 3, 2), "seen")
    _add(store, stamp, ANN)
    with (
        pytest.raises(RecordError, match=r"M-014: a change .* needs a reason"),
        store.transaction() as tx,
    ):
        tx.correct("M-014", ANN, Stamp("a nurse", now), 1)


def test_no_statement_changes_or_deletes_a_clinical_row(store: Store, stamp: Stamp) -> None:
    statements: list[str] = []
    event.listen(
        store.engine, "before_cursor_execute", lambda *given: statements.append(str(given[2]))
    )
    _add(store, stamp, ANN, *FACTS)
    with store.transaction() as tx:
        tx.correct("M-014/X1", EXAMINED, _later("misread"), 1)
        tx.withdraw("M-014/X1", _later("misread"), 2)
        tx.set_entries("M-014", [_entry("a")])
        tx.set_entries("M-014", [_entry("a", sequence=1)])
    verbs = {
        tuple(s.split()[:2]) for s in statements if not s.startswith(("SELECT", "BEGIN", "SET"))
    }
    assert {verb for verb, _ in verbs} == {"INSERT", "UPDATE"}
    assert {table for verb, table in verbs if verb == "UPDATE"} == {"calendar_entry", "revision"}


def _entry(uid: str, **changes: Any) -> Entry:
    entry = Entry(
        uid=uid,
        sequence=0,
        changed_on=date(2026, 3, 2),
        kind=EntryKind.VISIT,
        state=EntryState.LIVE,
        start=date(2026, 3, 30),
        until=date(2026, 4, 13),
        on=date(2026, 4, 1),
        checks=("pressure_check right 1", "refraction right 1"),
    )
    return replace(entry, **changes)


def test_calendar_entries_are_replaced_but_never_forgotten(store: Store, stamp: Stamp) -> None:
    _add(store, stamp, ANN)
    with store.transaction() as tx:
        tx.set_entries("M-014", [_entry("b"), _entry("a")])
    withdrawn = _entry("a", sequence=1, state=EntryState.WITHDRAWN)
    with store.transaction() as tx:
        tx.set_entries("M-014", [_entry("c", on=date(2026, 3, 31)), withdrawn, _entry("b")])
        assert len(tx.entries("M-014")) == 3
    kept = store.entries("M-014")
    assert kept == (_entry("c", on=date(2026, 3, 31)), withdrawn, _entry("b"))
    with (
        pytest.raises(RecordError, match="M-014: the new entries leave out a, c"),
        store.transaction() as tx,
    ):
        tx.set_entries("M-014", [_entry("b")])
    assert store.entries("M-014") == kept


def test_an_entry_of_one_child_cannot_become_anothers(store: Store, stamp: Stamp) -> None:
    _add(store, stamp, ANN)
    _add(store, stamp, replace(ANN, number="M-015"), number="M-015")
    with store.transaction() as tx:
        tx.set_entries("M-014", [_entry("a")])
    with (
        pytest.raises(RecordError, match=r"someone else.*calendar_entry"),
        store.transaction() as tx,
    ):
        tx.set_entries("M-015", [_entry("a")])
    assert store.entries("M-015") == ()


def test_many_cases_are_read_with_as_many_queries_as_one(store: Store, stamp: Stamp) -> None:
    numbers = [f"M-{n:03}" for n in range(60)]
    for number in numbers:
        _add(store, stamp, replace(ANN, number=number), *FACTS, number=number)
    queries: list[str] = []
    event.listen(
        store.engine, "before_cursor_execute", lambda *given: queries.append(str(given[2]))
    )
    store.case("M-030")
    for_one = sum(query.startswith("SELECT") for query in queries)
    queries.clear()
    cases = list(store.cases(reversed(numbers)))
    assert sum(query.startswith("SELECT") for query in queries) == for_one == 13
    assert [case.child.number for case in cases] == numbers[::-1]
    assert cases[0] == store.case("M-059")
    assert list(store.cases()) == cases[::-1]


def test_a_case_that_is_asked_for_and_not_recorded_is_named(store: Store, stamp: Stamp) -> None:
    _add(store, stamp, ANN)
    with pytest.raises(RecordError, match="nothing is recorded as M-999"):
        list(store.cases(["M-014", "M-999"]))
    for ask in (store.case, store.history, store.version):
        with pytest.raises(RecordError, match="nothing is recorded as M-999"):
            ask("M-999")


def test_two_writers_at_once_lose_nothing(store: Store, stamp: Stamp) -> None:
    _add(store, stamp, ANN)
    together = threading.Barrier(2)

    def book(month: int) -> None:
        together.wait()
        for day in range(1, 26):
            _add(store, stamp, Appointment("", date(2026, month, day)))

    writers = [threading.Thread(target=book, args=(month,)) for month in (5, 6)]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    appointments = store.case("M-014").appointments
    assert {a.on for a in appointments} == {
        date(2026, month, day) for month in (5, 6) for day in range(1, 26)
    }
    assert {a.id for a in appointments} == {f"M-014/A{n}" for n in range(1, 51)}


def test_of_two_corrections_at_once_one_is_kept_and_the_other_told(
    store: Store, stamp: Stamp
) -> None:
    _add(store, stamp, ANN)
    together = threading.Barrier(2)
    told: list[RecordError] = []

    def rename(name: str) -> None:
        together.wait()
        try:
            with store.transaction() as tx:
                tx.correct("M-014", replace(ANN, name=name), _later("misspelt", by=name), 1)
        except RecordError as error:
            told.append(error)

    writers = [threading.Thread(target=rename, args=(name,)) for name in ("Anna", "Anne")]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    (error,) = told
    assert f"changed by someone else: version 2 is by {store.case('M-014').child.name}" in str(
        error
    )
    assert len(store.history("M-014")) == 2
