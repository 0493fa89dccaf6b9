from datetime import date, timedelta

import pytest

from rehab.care.case import Eye, Method
from rehab.care.occlusion import Span
from rehab.care.wear import (
    AlternateDays,
    Doubt,
    Expectation,
    WearDay,
    WearSummary,
    alternate_days,
    expected_gain,
    hours_per_line,
    judged_wear,
    summary,
)
from rehab.errors import RecordError
from rehab.measures.acuity_change import judge_change
from rehab.measures.sleep import waking_hours
from rehab.rules.protocol import Answer, Because
from rehab.rules.table import Outcome
from tests.care.reviews import PROTOCOL, STARTS, child_of, letters, worn

BECAUSE = Because("regimen", STARTS, "R-1", "prescription", "", "", True, "", ())
CHILD = child_of(60)


def span(minutes: int = 360, days: int = 28, per_week: int = 7, start: date = STARTS) -> Span:
    until = start + timedelta(days=days)
    return Span(start, until, Eye.LEFT, minutes, per_week, Method.PATCH, True, BECAUSE)


def day(number: int, minutes: int, written: int | None = None) -> WearDay:
    """Wear on a day counted from the start of the regimen, written on another such day."""
    entry = None if written is None else STARTS + timedelta(days=written)
    return WearDay(STARTS + timedelta(days=number), minutes, entry)


def told(*days: WearDay, asked: Span | None = None, today: int = 28) -> WearSummary:
    return summary(days, (asked or span(),), CHILD, today=STARTS + timedelta(days=today))


def test_worn_of_prescribed_is_the_published_formula() -> None:
    """Tjiam 2013, Graefes 251:321 (seen): worn / prescribed x 100; 84 of 168 hours are 50 %."""
    month = told(*(day(n, 180) for n in range(28)))
    assert (month.prescribed_minutes, month.hours_worn) == (168 * 60, 84)
    assert (month.adherence_percent, month.days_worn, month.gaps) == (50, 28, ())


def test_more_than_prescribed_is_told_as_all_of_it() -> None:
    """The cap at 100 % is from memory; the hours are told beside it."""
    assert told(*(day(n, 420) for n in range(28))).adherence_percent == 100


def test_a_regimen_of_six_days_a_week_owes_six_days() -> None:
    """EuPatch, Lancet 2024;403:1766 (seen): 10 hours, 6 days a week."""
    week = told(*(day(n, 0 if n == 6 else 600) for n in range(7)), asked=span(600, 7, 6), today=7)
    assert (week.prescribed_minutes, week.days_worn, week.adherence_percent) == (3600, 6, 100)


def test_a_day_without_an_entry_is_a_gap_that_widens_the_bounds() -> None:
    half = told(*(day(n, 360) for n in range(14)))
    assert (half.adherence_percent, half.adherence_percent_recorded) == (50, 100)
    assert half.gaps[0] == STARTS + timedelta(days=14)
    assert len(half.gaps) == 14
    assert judged_wear(half, PROTOCOL, STARTS)[0] == "unknown"


def test_today_is_not_over_and_not_counted() -> None:
    first = told(day(0, 360), day(1, 60), today=1)
    assert (first.days_prescribed, first.worn_minutes, first.adherence_percent) == (1, 360, 100)


@pytest.mark.parametrize(
    ("entries", "doubt"),
    [
        ([day(3, 1441)], Doubt.MORE_THAN_A_DAY),
        ([day(3, 900)], Doubt.ASLEEP),
        ([day(30, 60)], Doubt.NOT_PRESCRIBED),
        ([day(-2, 60)], Doubt.NOT_PRESCRIBED),
        ([day(3, 60), day(3, 90)], Doubt.TWICE),
        ([day(n, 360, written=7) for n in range(7)], Doubt.BACK_FILLED),
    ],
)
def test_an_entry_that_cannot_be_is_flagged_and_not_counted(
    entries: list[WearDay], doubt: Doubt
) -> None:
    """Waking hours by Galland 2012 (seen); back-filled paper diaries, Simonsz 1999 (seen)."""
    answer = told(day(10, 120), *entries, today=40)
    assert answer.worn_minutes == 120
    assert {found.doubt for found in answer.doubtful} == {doubt}
    assert [found.day for found in answer.doubtful] == entries
    for entry in entries:
        assert entry.on in answer.gaps or doubt is Doubt.NOT_PRESCRIBED


def test_what_is_plausible_is_not_doubted() -> None:
    six_alike = [day(n, 360, written=6) for n in range(6)]
    no_wear = [day(n, 0, written=20) for n in range(6, 14)]
    a_week_in_time = [day(n, 240, written=n) for n in range(14, 21)]
    twice_the_same = [day(22, 60), day(22, 60)]
    answer = told(*six_alike, *no_wear, *a_week_in_time, *twice_the_same, day(30, 0), today=40)
    assert answer.doubtful == ()
    assert answer.hours_worn == 6 * 6 + 7 * 4 + 1


@pytest.mark.parametrize(
    ("entry", "words"),
    [
        (day(29, 60), "has not been yet"),
        (WearDay(date(2019, 1, 1), 60), "is before the birth"),
        (day(3, -5), "-5 minutes of wear on 2026-01-08 cannot be. Give 0"),
    ],
)
def test_an_entry_that_no_diary_can_hold_is_refused(entry: WearDay, words: str) -> None:
    with pytest.raises(RecordError, match=words):
        told(entry)


def test_nothing_recorded_is_unknown_not_nought() -> None:
    assert told().adherence_percent is None
    assert judged_wear(told(), PROTOCOL, STARTS)[0] == "unknown"
    assert judged_wear(None, PROTOCOL, STARTS)[0] == "unknown"


@pytest.mark.parametrize(
    ("percent", "word", "band"),
    [(33, "poor", "fair"), (50, "poor", "fair"), (74, "poor", "good"), (75, "adequate", "good"),
     (90, "adequate", "excellent"), (25, "poor", "poor")],
)  # fmt: skip
def test_wear_is_adequate_from_three_quarters(percent: int, word: str, band: str) -> None:
    """IATS, J AAPOS 2012;16:150 (seen): 75 % is good. The bands of the trials are from memory."""
    assert judged_wear(worn(percent), PROTOCOL, STARTS)[0] == word
    asked = {"adherence_percent": percent}
    assert PROTOCOL.ask("wear_band", STARTS, asked).word("band") == band


def test_eighty_four_hours_go_with_seven_tenths_of_a_line() -> None:
    """120 hours a line, IOVS 2004;45:3048, and the band: from memory, and said so."""
    expected = expected_gain(84 * 60, 60, PROTOCOL, STARTS)
    assert isinstance(expected, Expectation)
    assert round(expected.lines, 1) == 0.7
    assert expected.fewest <= expected.lines <= expected.most
    assert not expected.because.seen


@pytest.mark.parametrize("age_months", [0, 35, 96, 215])
def test_outside_the_monitored_ages_nothing_is_expected(age_months: int) -> None:
    answer = expected_gain(6000, age_months, PROTOCOL, STARTS)
    assert isinstance(answer, Answer)
    assert answer.outcome is Outcome.REFER


def test_hours_for_each_line_are_told_only_of_a_gain_beyond_noise() -> None:
    real = judge_change(letters(0.6), letters(0.4))
    noise = judge_change(letters(0.6), letters(0.5))
    assert hours_per_line(240 * 60, real) == 120
    assert hours_per_line(240 * 60, noise) is None


def test_alternate_days_have_the_same_week_and_fit_into_the_waking_day() -> None:
    """Infant aphakia trial: half of each day, or all of every other (from memory)."""
    for months in range(8, 60):
        for sleep in (None, 11.3, 13.0, 14.7):
            found = alternate_days(("unilateral", months), PROTOCOL, STARTS, sleep)
            assert isinstance(found, AlternateDays)
            assert found.minutes_per_week == found.minutes_per_day * 7
            assert found.minutes_on_a_day <= waking_hours(months, sleep) * 60
            assert found.minutes_per_day > waking_hours(months, sleep) * 30 - 23
            assert not found.because.seen
    eleven = alternate_days(("unilateral", 11), PROTOCOL, STARTS, 13.0)
    assert isinstance(eleven, AlternateDays)
    assert (eleven.minutes_per_day, eleven.minutes_on_a_day) == (330, 660)


@pytest.mark.parametrize(
    ("asked", "outcome"),
    [
        (("unilateral", 7), Outcome.NOTHING),
        (("unilateral", 60), Outcome.REFER),
        (("bilateral", 12), Outcome.REFER),
    ],
)
def test_elsewhere_alternate_days_are_not_offered(asked: tuple[str, int], outcome: Outcome) -> None:
    answer = alternate_days(asked, PROTOCOL, STARTS)
    assert isinstance(answer, Answer)
    assert answer.outcome is outcome
