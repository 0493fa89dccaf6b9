"""Whatever is recorded is read back unchanged."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import Connection, create_engine

from rehab.care.case import (
    Appointment,
    Cataract,
    Cause,
    CheckKind,
    Child,
    Correction,
    Ending,
    EndingKind,
    Examination,
    Eye,
    EyeFindings,
    LensStatus,
    Method,
    Outcome,
    Procedure,
    Regimen,
    Surgery,
    Sutures,
    Symptoms,
    VisualAxis,
)
from rehab.care.changes import Entry, EntryKind, EntryState
from rehab.care.proposals import Decision, KeptProposal
from rehab.care.wear import WearDay
from rehab.measures.acuity import parse_acuity
from rehab.measures.fixation import Finding, Fixation, Nystagmus
from rehab.measures.pressure import Pressure
from rehab.measures.refraction import Refraction
from rehab.rules.protocol import Because
from rehab.store.schema import metadata
from rehab.store.store import Record, Stamp, Transaction

DAYS = st.dates(date(1990, 1, 1), date(2090, 12, 31))
TEXTS = st.text(max_size=20)
FINDINGS = st.sampled_from(Finding)
ACUITIES = st.builds(
    parse_acuity,
    st.sampled_from(
        (
            *(" 6/18 ", "3/60", "20/40-1", "0,5 decimal", "0.30 logMAR", "70 letters (ETDRS)"),
            *("VAS 85", "5.7 cpd", "CF", "HM", "LP", "NLP", "fixes and follows", "CSNM"),
        )
    ),
    test=st.sampled_from(["unknown", "crowded pictures", "Grating Cards"]),
    distance_cm=st.none() | st.integers(1, 1000),
    correction=st.sampled_from(["unknown", "glasses", "contact lens"]),
) | st.sampled_from([parse_acuity("6.5 cy/cm at 55 cm"), parse_acuity("CF 1m")])
REFRACTIONS = st.builds(Refraction, st.integers(-100, 160)) | st.builds(
    Refraction, st.integers(-100, 160), st.integers(1, 40), st.integers(1, 180)
)
CHILDREN = st.builds(
    Child,
    number=st.just("M-014"),
    name=TEXTS,
    date_of_birth=DAYS,
    gestation_weeks=st.none() | st.integers(22, 44),
    language=st.sampled_from(["en", "ar", "pt-BR"]),
    phone=TEXTS,
)
EYE_FINDINGS = st.builds(
    EyeFindings,
    eye=st.sampled_from(Eye),
    acuities=st.lists(ACUITIES, max_size=3).map(tuple),
    fixation=st.builds(Fixation, FINDINGS, FINDINGS, FINDINGS, FINDINGS),
    pressure=st.none() | st.builds(Pressure, st.integers(0, 80), TEXTS),
    refraction=st.none() | REFRACTIONS,
    visual_axis=st.sampled_from(VisualAxis),
    cataract=st.sampled_from(Cataract),
    lens_status=st.sampled_from(LensStatus),
    correction=st.sampled_from(Correction),
    corneal_diameter_tenths_mm=st.none() | st.integers(50, 160),
    axial_length_hundredths_mm=st.none() | st.integers(1200, 3200),
)
FACTS = st.one_of(
    st.builds(
        Surgery,
        id=st.just(""),
        eye=st.sampled_from(Eye),
        on=DAYS,
        procedure=st.sampled_from(Procedure),
        sutures=st.sampled_from(Sutures),
        cause=st.sampled_from(Cause),
        target_quarters=st.none() | st.integers(-160, 160),
    ),
    st.builds(
        Examination,
        id=st.just(""),
        on=DAYS,
        findings=st.lists(EYE_FINDINGS, unique_by=lambda f: f.eye).map(tuple),
        nystagmus=st.sampled_from(Nystagmus),
        under_anaesthesia=st.booleans(),
        done=st.lists(st.tuples(st.sampled_from(CheckKind), st.sampled_from(Eye))).map(tuple),
        note=TEXTS,
        symptoms=st.builds(Symptoms, FINDINGS, FINDINGS, FINDINGS),
        sleep_minutes=st.none() | st.integers(240, 1200),
    ),
    st.builds(
        Regimen,
        id=st.just(""),
        occluded_eye=st.sampled_from(Eye),
        method=st.sampled_from(Method),
        minutes_per_day=st.none() | st.integers(0, 1440),
        days_per_week=st.integers(1, 7),
        starts=DAYS,
        prescriber=TEXTS,
        reason=TEXTS,
        ends=st.none() | DAYS,
        near_activity=TEXTS,
        review_on=st.none() | DAYS,
        decided_on=st.none() | DAYS,
        proposed_by=st.lists(TEXTS, max_size=3).map(tuple),
        tapering=st.booleans(),
        paused_from=st.none() | DAYS,
    ),
    st.builds(Appointment, id=st.just(""), on=DAYS, outcome=st.sampled_from(Outcome)),
    st.builds(Ending, kind=st.sampled_from(EndingKind), on=DAYS, note=TEXTS),
)
ENTRIES = st.builds(
    Entry,
    uid=st.text(min_size=1, max_size=20),
    sequence=st.integers(0, 9),
    changed_on=DAYS,
    kind=st.sampled_from(EntryKind),
    state=st.sampled_from(EntryState),
    start=DAYS,
    until=DAYS,
    on=DAYS,
    checks=st.lists(TEXTS, max_size=3).map(tuple),
    eye=st.sampled_from(["", *Eye]),
    minutes_per_day=st.integers(0, 1440),
    days_per_week=st.integers(0, 7),
    method=st.sampled_from(["", *Method]),
)
BECAUSE = st.builds(
    Because,
    *(TEXTS, DAYS, *(TEXTS,) * 4, st.booleans(), TEXTS),
    facts=st.lists(st.tuples(TEXTS, TEXTS | st.integers()), max_size=3).map(tuple),
    counted=TEXTS,
)
PROPOSALS = st.builds(
    KeptProposal,
    id=st.just(""),
    on=DAYS,
    regimen=TEXTS,
    action=TEXTS,
    occluded_eye=st.sampled_from(Eye),
    minutes_per_day=st.none() | st.integers(0, 720),
    days_per_week=st.integers(1, 7),
    starts=DAYS,
    review_on=st.none() | DAYS,
    to_decide=TEXTS,
    cautions=st.lists(TEXTS, max_size=2).map(tuple),
    found=st.lists(TEXTS, max_size=2).map(tuple),
    because=st.lists(BECAUSE, max_size=2).map(tuple),
    decision=st.sampled_from(Decision),
    words=TEXTS,
)
WEAR = st.builds(WearDay, DAYS, st.integers(0, 2000), st.none() | DAYS)
STAMP = Stamp("a nurse", datetime(2026, 3, 2, tzinfo=UTC))


@pytest.fixture(scope="module")
def connection() -> Iterator[Connection]:
    engine = create_engine("sqlite://")
    with engine.connect() as opened:
        metadata.create_all(opened)
        opened.commit()
        yield opened
    engine.dispose()


@settings(deadline=None)
@given(child=CHILDREN, fact=FACTS)
def test_a_fact_is_read_back_as_it_was_recorded(
    connection: Connection, child: Child, fact: Record
) -> None:
    tx = Transaction(connection)
    tx.add(child.number, child, STAMP)
    key = tx.add(child.number, fact, STAMP)
    case = tx.case(child.number)
    connection.rollback()
    recorded = fact if isinstance(fact, Ending | Child | WearDay) else replace(fact, id=key)
    endings = () if case.ending is None else (case.ending,)
    read = (*case.surgeries, *case.examinations, *case.regimens, *case.appointments, *endings)
    assert case.child == child
    assert read == (recorded,)
    assert repr(read) == repr((recorded,)), "the words come back as words of the vocabulary"


@settings(deadline=None)
@given(
    child=CHILDREN,
    proposals=st.lists(PROPOSALS, max_size=2),
    wear=st.lists(WEAR, max_size=4, unique_by=lambda day: day.on),
)
def test_proposals_and_days_of_wear_are_read_back_as_they_were_recorded(
    connection: Connection, child: Child, proposals: list[KeptProposal], wear: list[WearDay]
) -> None:
    tx = Transaction(connection)
    tx.add(child.number, child, STAMP)
    keys = [tx.add(child.number, proposal, STAMP) for proposal in proposals]
    assert tx.record_wear(child.number, wear, STAMP) == (tuple(wear), ())
    assert tx.record_wear(child.number, wear, STAMP) == ((), ())
    read, worn = tx.proposals(child.number), tx.wear(child.number)
    connection.rollback()
    recorded = [replace(p, id=key) for p, key in zip(proposals, keys, strict=True)]
    assert list(read) == sorted(recorded, key=lambda p: (p.on, p.id))
    assert list(worn) == sorted(wear, key=lambda day: day.on)


@settings(deadline=None)
@given(child=CHILDREN, entries=st.lists(ENTRIES, unique_by=lambda e: e.uid, max_size=4))
def test_calendar_entries_are_read_back_in_order_of_day_and_identity(
    connection: Connection, child: Child, entries: list[Entry]
) -> None:
    tx = Transaction(connection)
    tx.add(child.number, child, STAMP)
    tx.set_entries(child.number, entries)
    read = tx.entries(child.number)
    connection.rollback()
    assert read == tuple(sorted(entries, key=lambda e: (e.on, e.uid)))
