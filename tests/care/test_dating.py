from datetime import date, timedelta
from typing import Any

from rehab.care.case import CheckKind
from rehab.care.flags import Urgency
from rehab.care.plan import Plan
from rehab.measures.dates import add_months
from tests.care.cases import child, plan_for, removal

OPERATED = date(2026, 1, 10)
LAST = date(2026, 3, 10)


def plan_with(*powers: str, wears: str = "glasses", **facts: Any) -> Plan:
    """An infant operated at two months and refracted monthly up to March with these powers."""
    days = [add_months(LAST, -n) for n in range(len(powers))][::-1]
    exams = [
        {"on": on, "right": {"refraction": power, "wears": wears}, "left": {"cataract": "none"}}
        for on, power in zip(days, powers, strict=True)
    ]
    operated = removal("right", OPERATED, procedure="lens removal with implant")
    return plan_for(child(**{"surgery": [operated], "exam": exams, **facts}), LAST)


def refractions(plan: Plan) -> list[Any]:
    return [check for check in plan.checks if check.kind is CheckKind.REFRACTION]


def test_glasses_that_will_soon_be_wrong_bring_the_refraction_forward() -> None:
    first, second, *_ = refractions(plan_with("+7.00"))
    by_table = date(2026, 7, 10)
    assert by_table - timedelta(days=49) <= first.target < by_table
    assert "by forecast" in first.because.counted
    assert "off by more than 1 D" in first.because.counted
    assert "by its table 6 months after lens removal" in first.because.counted
    assert first.because.decision == "refraction"
    assert second.target == add_months(OPERATED, 9)


def test_a_contact_lens_of_an_infant_may_be_off_by_more_and_is_refracted_later() -> None:
    glasses, lens = (
        refractions(plan_with("+7.00", wears=w))[0] for w in ("glasses", "contact lens")
    )
    assert lens.target > glasses.target
    assert lens.latest <= date(2026, 7, 10) + timedelta(days=14)


def test_without_a_refraction_the_table_dates_the_next_one() -> None:
    operated = removal("right", OPERATED, procedure="lens removal with implant")
    plan = plan_for(child(surgery=[operated]), date(2026, 2, 10))
    assert "forecast" not in refractions(plan)[0].because.counted


def test_an_eye_that_wears_nothing_keeps_the_dates_of_the_table() -> None:
    first = refractions(plan_with("+7.00", wears="none"))[0]
    assert first.target == date(2026, 4, 10)
    assert "forecast" not in first.because.counted


def test_surgery_from_seven_months_keeps_the_dates_of_the_table() -> None:
    """No rate with its spread was published there: the table of growth refers."""
    plan = plan_with("+4.00", born=date(2024, 11, 10))
    assert "forecast" not in refractions(plan)[0].because.counted


def test_a_refraction_far_below_the_band_asks_for_pressure_this_week() -> None:
    raised = plan_with("+8.00", "-3.00").flags
    assert [flag.urgency for flag in raised] == [Urgency.THIS_WEEK]
    assert "check its pressure and disc" in raised[0].sentence
    assert raised[0].because.decision == "faster_shift"


def test_an_eye_growing_as_published_raises_no_flag() -> None:
    assert plan_with("+8.00", "+7.50").flags == ()
