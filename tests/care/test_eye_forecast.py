"""The forecast of a recorded eye: which refractions count, and where a clinician decides."""

from datetime import date
from typing import Any

import pytest

from rehab.care.case import Case, Eye, LensStatus
from rehab.care.eye_forecast import eye_forecast, observations, tolerance
from rehab.care.facts import Moment
from rehab.care.forecast import Forecast, Observation, Tolerance, forecast
from rehab.care.problems import Problem
from rehab.errors import MeasureError, TableError
from tests.care.cases import BORN, PROTOCOL, child, removal
from tests.care.virtual_eyes import prior

SURGERY, TODAY = date(2026, 1, 12), date(2026, 6, 1)


def examined(on: date, **found: str) -> dict[str, Any]:
    return {"on": on, "right": found}


def operated(*examinations: dict[str, Any], procedure: str = "lens removal") -> Case:
    surgery = removal("right", SURGERY, procedure=procedure)
    return child(surgery=[surgery], exam=list(examinations))


def at(case: Case, on: date = TODAY, eye: Eye = Eye.RIGHT) -> Moment:
    return Moment(case, eye, on, SURGERY, PROTOCOL)


def test_the_refractions_since_the_operation_make_the_forecast() -> None:
    case = operated(
        examined(date(2026, 2, 12), refraction="+20.00/-2.00x90"),
        examined(date(2026, 3, 1), pressure="14"),
        examined(date(2026, 5, 12), refraction="+17.50"),
    )
    # The noise of 0.75 D under 2 years is an assumption of the built-in table.
    seen = (Observation(date(2026, 2, 12), 19.0, 0.75), Observation(date(2026, 5, 12), 17.5, 0.75))
    assert observations(at(case)) == seen
    assert eye_forecast(at(case)) == forecast(BORN, seen, prior(LensStatus.APHAKIC))


def test_what_came_before_the_lens_was_changed_does_not_count_nor_what_comes_later() -> None:
    case = child(
        surgery=[
            removal("right", SURGERY),
            removal("right", date(2028, 3, 1), procedure="secondary implant"),
            removal("right", date(2028, 6, 1), procedure="membrane clearance"),
        ],
        exam=[
            examined(date(2026, 1, 2), refraction="+1.00"),
            examined(date(2026, 2, 12), refraction="+19.00"),
            examined(date(2028, 3, 1), refraction="+5.00"),
            examined(date(2028, 4, 1), refraction="+2.00"),
            examined(date(2028, 8, 1), refraction="+1.50"),
            examined(date(2028, 9, 1), refraction="+1.00"),
        ],
    )
    days = [seen.on for seen in observations(at(case, date(2028, 8, 1)))]
    assert days == [date(2028, 4, 1), date(2028, 8, 1)]
    assert [seen.on for seen in observations(at(case))] == [date(2026, 2, 12)]


def test_a_refraction_past_the_age_of_the_model_does_not_count() -> None:
    late = date(2036, 6, 1)
    case = operated(examined(date(2030, 6, 1), refraction="+8.00"), examined(late, refraction="+7"))
    (only,) = observations(at(case, late))
    # The noise of 0.50 D from 2 years is an assumption of the built-in table.
    assert only == Observation(date(2030, 6, 1), 8.0, 0.5)


def test_an_eye_that_was_not_refracted_since_has_no_forecast() -> None:
    with pytest.raises(MeasureError, match="no refraction of this eye since its lens was last"):
        eye_forecast(at(operated(examined(date(2026, 3, 1), pressure="14"))))


def test_an_eye_with_its_own_lens_has_no_forecast() -> None:
    case = operated(examined(date(2026, 2, 12), refraction="+19.00"))
    with pytest.raises(TableError, match="lens_status is phakic"):
        eye_forecast(at(case, eye=Eye.LEFT))


def test_where_no_rate_was_published_a_clinician_decides() -> None:
    surgery = [removal("right", date(2027, 1, 12), procedure="lens removal with implant")]
    case = child(surgery=surgery, exam=[examined(date(2027, 2, 12), refraction="+5.00")])
    found = eye_forecast(at(case, date(2027, 3, 1)))
    assert isinstance(found, Problem)
    assert "operated from 7 months of age grow much less" in found.what


@pytest.mark.parametrize(
    ("on", "worn", "threshold"),
    [
        # 3 D for an infant's contact lens: seen in a digest of the guideline; the rest from memory.
        (date(2026, 6, 1), "contact lens", 3.0),
        (date(2026, 6, 1), "glasses", 1.0),
        (date(2028, 6, 1), "contact lens", 1.0),
        (date(2031, 6, 1), "glasses", 0.75),
    ],
)
def test_the_tolerance_follows_age_and_what_is_worn(on: date, worn: str, threshold: float) -> None:
    case = operated(examined(date(2026, 2, 12), refraction="+19.00", wears=worn))
    assert tolerance(at(case, on)) == Tolerance(threshold, 0.5)


def test_without_a_correction_on_record_a_clinician_decides() -> None:
    found = tolerance(at(operated(examined(date(2026, 2, 12), refraction="+19.00"))))
    assert isinstance(found, Problem)
    assert "not recorded that this eye wears a correction" in found.what


def test_an_implant_has_the_rate_of_eyes_with_an_implant() -> None:
    case = operated(
        examined(date(2026, 2, 12), refraction="+8.00"), procedure="lens removal with implant"
    )
    expected = eye_forecast(at(case))
    assert isinstance(expected, Forecast)
    assert expected.rate_dioptres == prior(LensStatus.PSEUDOPHAKIC).rate_dioptres
