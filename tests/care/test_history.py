from datetime import date
from typing import Any

import pytest

from rehab.care.case import (
    Examination,
    Eye,
    EyeFindings,
    LensStatus,
    Method,
    Procedure,
    Regimen,
    Surgery,
)
from rehab.care.findings import read_findings
from rehab.care.history import check_examination, check_regimen, check_surgery, lens_status
from rehab.errors import RecordError
from tests.care.cases import child, removal

TODAY = date(2026, 6, 1)
OPERATED = date(2026, 1, 10)


def surgery(procedure: Procedure, on: date = date(2026, 3, 1), eye: Eye = Eye.RIGHT) -> Surgery:
    return Surgery("", eye, on, procedure)


def test_lens_status_follows_the_operations_of_that_eye() -> None:
    case = child(
        surgery=[
            removal("right", OPERATED),
            {"eye": "right", "on": date(2026, 5, 2), "procedure": "secondary implant"},
        ]
    )
    assert lens_status(case, Eye.RIGHT, date(2026, 1, 9)) is LensStatus.PHAKIC
    assert lens_status(case, Eye.RIGHT, OPERATED) is LensStatus.APHAKIC
    assert lens_status(case, Eye.RIGHT, date(2026, 5, 2)) is LensStatus.PSEUDOPHAKIC
    assert lens_status(case, Eye.LEFT, TODAY) is LensStatus.PHAKIC


@pytest.mark.parametrize(
    ("new", "words"),
    [
        (
            surgery(Procedure.LENS_REMOVAL),
            "the right eye is aphakic since lens removal on 2026-01-10",
        ),
        (surgery(Procedure.LENS_REMOVAL_WITH_IMPLANT), "is aphakic since"),
        (
            surgery(Procedure.SECONDARY_IMPLANT, eye=Eye.LEFT),
            "the left eye is phakic, so secondary",
        ),
        (
            surgery(Procedure.MEMBRANE_CLEARANCE, eye=Eye.LEFT),
            "the left eye is phakic, so membrane",
        ),
        (surgery(Procedure.LENS_REMOVAL, date(2025, 11, 9), Eye.LEFT), "is before the birth"),
        (surgery(Procedure.LENS_REMOVAL, date(2026, 6, 2), Eye.LEFT), "has not been yet"),
    ],
)
def test_an_operation_that_cannot_be_is_refused(new: Surgery, words: str) -> None:
    case = child(surgery=[removal("right", OPERATED)])
    with pytest.raises(RecordError, match=words) as refused:
        check_surgery(case, new, TODAY)
    assert str(refused.value).startswith("T-1: ")
    assert "Check" in refused.value.do


def test_an_operation_entered_late_must_fit_the_one_after_it() -> None:
    case = child(surgery=[removal("right", OPERATED)])
    with pytest.raises(RecordError, match="cannot follow lens removal on 2026-01-02"):
        check_surgery(case, surgery(Procedure.LENS_REMOVAL, date(2026, 1, 2)), TODAY)


@pytest.mark.parametrize(
    "new",
    [
        surgery(Procedure.SECONDARY_IMPLANT),
        surgery(Procedure.MEMBRANE_CLEARANCE),
        surgery(Procedure.OTHER_INTRAOCULAR),
        surgery(Procedure.LENS_REMOVAL, eye=Eye.LEFT),
    ],
)
def test_several_operations_on_one_eye_and_on_both_are_taken(new: Surgery) -> None:
    check_surgery(child(surgery=[removal("right", OPERATED)]), new, TODAY)


@pytest.mark.parametrize(
    ("found", "words"),
    [
        ({"lens_status": ["pseudophakic"]}, "is aphakic by the operations recorded, but was found"),
        ({"cataract": ["dense"]}, "its lens cannot have a cataract"),
    ],
)
def test_a_finding_that_contradicts_the_operations_is_refused(
    found: dict[str, Any], words: str
) -> None:
    case = child(surgery=[removal("right", OPERATED)])
    examination = Examination("", TODAY, (read_findings(Eye.RIGHT, found, "unknown"),))
    with pytest.raises(RecordError, match=words):
        check_examination(case, examination, TODAY)


def test_an_examination_without_a_finding_is_refused() -> None:
    with pytest.raises(RecordError, match="holds no finding"):
        check_examination(child(), Examination("", TODAY), TODAY)
    check_examination(child(), Examination("", TODAY, (EyeFindings(Eye.LEFT),)), TODAY)


def regimen(eye: Eye, starts: date = TODAY, ends: date | None = None) -> Regimen:
    return Regimen("", eye, Method.PATCH, 60, 7, starts, "an orthoptist", "", ends)


def test_the_only_operated_eye_is_never_occluded() -> None:
    case = child(surgery=[removal("right", OPERATED)])
    with pytest.raises(RecordError, match=r"occluding it would harm it\. Occlude the left eye"):
        check_regimen(case, regimen(Eye.RIGHT))
    check_regimen(case, regimen(Eye.LEFT))


def test_two_regimens_never_run_on_one_day() -> None:
    running = {"eye": "left", "starts": date(2026, 2, 1), "who": "an orthoptist"}
    case = child(surgery=[removal("right", OPERATED)], occlusion=[running])
    with pytest.raises(RecordError, match="T-1/R1 already occludes the left eye from 2026-02-01"):
        check_regimen(case, regimen(Eye.LEFT))
    ended = child(surgery=[removal("right", OPERATED)], occlusion=[{**running, "ends": TODAY}])
    check_regimen(ended, regimen(Eye.LEFT))
