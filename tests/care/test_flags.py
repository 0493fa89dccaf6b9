"""Flags: what in the last examinations a person should act on, and how soon."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rehab.care.case import (
    Case,
    Child,
    Correction,
    Examination,
    Eye,
    EyeFindings,
    Procedure,
    Surgery,
    VisualAxis,
    case_of,
)
from rehab.care.flags import Flag, Urgency, flags
from rehab.measures.dates import add_months
from rehab.measures.pressure import Pressure
from rehab.rules.proof import prove
from rehab.rules.protocol import Protocol, protocol_of
from rehab.rules.table import ASSUMPTION, Outcome
from rehab.table_files import read_protocol

PROTOCOL = read_protocol()
BORN = date(2026, 1, 1)
OPERATED = date(2026, 2, 10)
LATER = date(2030, 1, 1)


def case(
    on: date, *findings: EyeFindings, earlier: tuple[Examination, ...] = (), born: date = BORN
) -> Case:
    surgery = Surgery("K-1/S1", Eye.RIGHT, OPERATED, Procedure.LENS_REMOVAL_WITH_IMPLANT)
    last = Examination("K-1/X9", on, findings)
    return case_of(Child("K-1", "A", born), surgeries=(surgery,), examinations=(*earlier, last))


def pressure(eye: Eye, mmhg: int) -> EyeFindings:
    return EyeFindings(eye, pressure=Pressure(mmhg))


def flagged(told: Case) -> list[tuple[Eye, Urgency, str]]:
    return [(f.eye, f.urgency, f.because.row) for f in flags(told, PROTOCOL, LATER)]


@pytest.mark.parametrize(
    ("mmhg", "days", "urgency", "row"),
    [
        # IoLunder2 (Br J Ophthalmol 2015;99:1471): 21 mmHg and more is a sign of glaucoma.
        (21, 10, Urgency.THIS_WEEK, "raised-while-on-drops"),
        (21, 42, Urgency.THIS_WEEK, "raised-later"),
        (29, 400, Urgency.THIS_WEEK, "raised-later"),
        # Kwok 1997, Ophthalmology 104:2112: steroid drops were stopped at 30 mmHg and more.
        (30, 13, Urgency.TODAY, "high-while-on-drops"),
        (31, 10, Urgency.TODAY, "high-while-on-drops"),
        # Common practice, no source.
        (30, 42, Urgency.TODAY, "high-later"),
        (4, 3, Urgency.TODAY, "low-after-surgery"),
    ],
)
def test_a_pressure_is_flagged_by_its_height_and_the_time_since_surgery(
    mmhg: int, days: int, urgency: Urgency, row: str
) -> None:
    told = case(OPERATED + timedelta(days=days), pressure(Eye.RIGHT, mmhg))
    assert flagged(told) == [(Eye.RIGHT, urgency, row)]


def test_a_pressure_of_31_on_drops_is_told_to_the_surgeon_today() -> None:
    told = case(OPERATED + timedelta(days=10), pressure(Eye.RIGHT, 31))
    (flag,) = flags(told, PROTOCOL, LATER)
    assert flag.sentence == (
        "The pressure of the right eye was 31 mmHg on 2026-02-20, 10 days after surgery. "
        "It is high: consider steroid drops or glaucoma. Tell the surgeon today."
    )
    assert flag.on == date(2026, 2, 20)
    assert flag.because.citation.startswith("Kwok AK")


@pytest.mark.parametrize("mmhg", [5, 14, 20])
def test_a_usual_pressure_is_no_flag(mmhg: int) -> None:
    assert flagged(case(OPERATED + timedelta(days=10), pressure(Eye.RIGHT, mmhg))) == []


def test_where_no_threshold_is_published_a_clinician_looks_this_week() -> None:
    told = case(OPERATED + timedelta(days=10), pressure(Eye.LEFT, 24))
    (flag,) = flags(told, PROTOCOL, LATER)
    assert (flag.eye, flag.urgency) == (Eye.LEFT, Urgency.THIS_WEEK)
    assert flag.sentence == (
        "The pressure of the left eye was 24 mmHg on 2026-02-20. 21 mmHg or more in an eye that "
        "was not operated: the definition is of operated eyes, a clinician judges."
    )


@pytest.mark.parametrize(
    ("tenths_mm", "months", "row"),
    [
        # IoLunder2: below 9.5 mm at any age, 10 mm after 1 month, 10.5 mm after 6 months.
        (94, 0, "newborn"),
        (98, 2, "from-1-month"),
        (104, 6, "from-6-months"),
        (104, 40, "from-6-months"),
        # Childhood Glaucoma Research Network, from memory: 11 mm, above 12 mm, above 13 mm.
        (110, 0, "newborn"),
        (121, 11, "first-year"),
        (131, 12, "older"),
    ],
)
def test_a_cornea_is_flagged_when_small_or_large_for_its_age(
    tenths_mm: int, months: int, row: str
) -> None:
    found = EyeFindings(Eye.LEFT, corneal_diameter_tenths_mm=tenths_mm)
    urgency = Urgency.NEXT_VISIT if tenths_mm < 105 else Urgency.THIS_WEEK
    assert flagged(case(add_months(BORN, months), found)) == [(Eye.LEFT, urgency, row)]


@pytest.mark.parametrize(
    ("tenths_mm", "months"), [(95, 0), (109, 0), (100, 2), (120, 11), (105, 6), (130, 12)]
)
def test_a_cornea_at_the_limit_is_no_flag(tenths_mm: int, months: int) -> None:
    found = EyeFindings(Eye.LEFT, corneal_diameter_tenths_mm=tenths_mm)
    assert flagged(case(add_months(BORN, months), found)) == []


def test_a_cornea_of_9_8_mm_at_2_months_is_microcornea() -> None:
    found = EyeFindings(Eye.RIGHT, corneal_diameter_tenths_mm=98)
    (flag,) = flags(case(date(2026, 3, 5), found), PROTOCOL, LATER)
    assert flag.sentence == (
        "The cornea of the right eye measured 9.8 mm on 2026-03-05, at the age of 2 months. "
        "It is below 10.0 mm (microcornea). "
        "Glaucoma follows more often in small eyes: weigh closer pressure checks."
    )


@pytest.mark.parametrize(
    ("hundredths_mm", "on", "row"),
    [
        # IoLunder2: 15.5 mm at any age, 17.5 from 1 month, 18 from 3, 19 from 6, 20 from 2 years.
        (1549, BORN, "newborn"),
        (1740, BORN + timedelta(weeks=5), "from-1-month"),
        (1740, add_months(BORN, 4), "from-3-months"),
        (1899, add_months(BORN, 6), "from-6-months"),
        (1999, add_months(BORN, 24), "from-2-years"),
    ],
)
def test_a_short_eye_is_flagged_for_its_age(hundredths_mm: int, on: date, row: str) -> None:
    found = EyeFindings(Eye.RIGHT, axial_length_hundredths_mm=hundredths_mm)
    assert flagged(case(on, found)) == [(Eye.RIGHT, Urgency.NEXT_VISIT, row)]


@pytest.mark.parametrize(
    ("hundredths_mm", "months"), [(1550, 0), (1750, 1), (1800, 3), (1900, 6), (2000, 24)]
)
def test_an_eye_at_the_limit_is_not_short(hundredths_mm: int, months: int) -> None:
    found = EyeFindings(Eye.RIGHT, axial_length_hundredths_mm=hundredths_mm)
    assert flagged(case(add_months(BORN, months), found)) == []


def test_an_eye_below_16_mm_is_significantly_small() -> None:
    # IoLunder2: significant microphthalmos below 16 mm.
    found = (EyeFindings(Eye.RIGHT, axial_length_hundredths_mm=size) for size in (1599, 1600))
    told = [flags(case(date(2026, 3, 5), f), PROTOCOL, LATER)[0].sentence for f in found]
    assert ["significant microphthalmos" in sentence for sentence in told] == [True, False]


def test_only_the_last_measurement_of_each_eye_counts() -> None:
    high = Examination("K-1/X1", date(2026, 3, 1), (pressure(Eye.RIGHT, 31),))
    settled = case(date(2026, 3, 8), pressure(Eye.RIGHT, 15), earlier=(high,))
    assert flagged(settled) == []
    elsewhere = case(date(2026, 3, 8), pressure(Eye.LEFT, 15), earlier=(high,))
    assert [f.on for f in flags(elsewhere, PROTOCOL, LATER)] == [date(2026, 3, 1)]


def test_what_was_found_after_today_is_not_yet_known() -> None:
    told = case(date(2026, 3, 8), pressure(Eye.RIGHT, 31))
    assert flags(told, PROTOCOL, date(2026, 3, 7)) == ()


def test_the_most_urgent_flag_stands_first() -> None:
    small = EyeFindings(Eye.RIGHT, corneal_diameter_tenths_mm=90, axial_length_hundredths_mm=1600)
    told = case(date(2026, 3, 8), small, pressure(Eye.LEFT, 40))
    assert [f.urgency for f in flags(told, PROTOCOL, LATER)] == [
        Urgency.TODAY,
        Urgency.NEXT_VISIT,
        Urgency.NEXT_VISIT,
    ]


def _referring(decision: str, outcome: Outcome) -> Protocol:
    """The protocol of a clinic that leaves `decision` to a clinician, or asks nothing of it."""
    tables = [editions[-1] for editions in PROTOCOL.editions.values()]
    table = PROTOCOL.editions[decision][-1].table
    row = replace(
        table.rows[0],
        when=(),
        outcome=outcome,
        then=(),
        why="The glaucoma clinic judges.",
        source=ASSUMPTION,
    )
    own = replace(table, rows=(row,), sources=())
    return protocol_of([*(t for t in tables if t.table.decision != decision), prove(own)])


@pytest.mark.parametrize(
    "decision", ["pressure_flag", "microcornea", "large_cornea", "microphthalmos"]
)
def test_a_clinic_may_leave_a_threshold_to_a_clinician(decision: str) -> None:
    found = EyeFindings(
        Eye.RIGHT,
        pressure=Pressure(15),
        corneal_diameter_tenths_mm=110,
        axial_length_hundredths_mm=2100,
    )
    told = case(date(2026, 8, 8), found)
    (flag,) = flags(told, _referring(decision, Outcome.REFER), LATER)
    assert flag.sentence.endswith("The glaucoma clinic judges.")
    assert flags(told, _referring(decision, Outcome.NOTHING), LATER) == ()


@given(
    st.integers(0, 80),
    st.integers(50, 160),
    st.integers(1200, 3200),
    st.dates(BORN, date(2090, 1, 1)),
)
def test_every_measurement_at_every_age_has_its_answer(
    mmhg: int, tenths_mm: int, hundredths_mm: int, on: date
) -> None:
    both = tuple(
        EyeFindings(
            eye,
            pressure=Pressure(mmhg),
            corneal_diameter_tenths_mm=tenths_mm,
            axial_length_hundredths_mm=hundredths_mm,
        )
        for eye in Eye
    )
    told = flags(case(on, *both), PROTOCOL, date(2091, 1, 1))
    assert all(isinstance(flag, Flag) and flag.sentence.endswith(".") for flag in told)
    high = [f.urgency for f in told if f.because.decision == "pressure_flag"]
    assert (mmhg < 30) or high == [Urgency.TODAY, Urgency.TODAY]


def aphakic(today: date, *exams: Examination) -> list[tuple[Urgency, str]]:
    surgery = Surgery("K-1/S1", Eye.RIGHT, OPERATED, Procedure.LENS_REMOVAL)
    told = case_of(Child("K-1", "A", BORN), surgeries=(surgery,), examinations=exams)
    return [(f.urgency, f.because.row) for f in flags(told, PROTOCOL, today)]


@pytest.mark.parametrize(
    ("days", "expected"),
    [
        # From memory: lens within a week, glasses within 1 to 3 weeks, at the latest 4 weeks.
        (7, []),
        (8, [(Urgency.NEXT_VISIT, "first-month")]),
        (27, [(Urgency.NEXT_VISIT, "first-month")]),
        (28, [(Urgency.THIS_WEEK, "after-a-month")]),
    ],
)
def test_an_aphakic_eye_without_correction_is_never_silent(
    days: int, expected: list[tuple[Urgency, str]]
) -> None:
    assert aphakic(OPERATED + timedelta(days=days)) == expected


def test_an_aphakic_eye_that_wears_a_lens_is_no_flag() -> None:
    worn = EyeFindings(Eye.RIGHT, correction=Correction.CONTACT_LENS)
    assert aphakic(LATER, Examination("K-1/X1", OPERATED, (worn,))) == []


@pytest.mark.parametrize(
    ("found", "expected"),
    [
        (VisualAxis.CLEAR, []),
        (VisualAxis.HAZY, [(Urgency.NEXT_VISIT, "hazy")]),
        (VisualAxis.OPAQUE, [(Urgency.THIS_WEEK, "opaque")]),
    ],
)
def test_a_closing_visual_axis_is_for_the_surgeon(
    found: VisualAxis, expected: list[tuple[Urgency, str]]
) -> None:
    looked = EyeFindings(Eye.RIGHT, visual_axis=found, correction=Correction.GLASSES)
    assert aphakic(LATER, Examination("K-1/X1", OPERATED, (looked,))) == expected
