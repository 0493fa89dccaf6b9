"""The look that a person agreed on, a regimen that rests, and the family's own sleep report."""

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

from rehab.care.case import Case, CheckKind, Eye, Method
from rehab.care.checks import Check
from rehab.care.plan import agreed_occlusion, next_check
from rehab.care.problems import Problem, ProblemKind
from tests.care.cases import child, plan_for, removal

STARTS, DECIDED = date(2026, 1, 19), date(2026, 8, 3)
LOOK = DECIDED + timedelta(days=14)
LAST = LOOK + timedelta(days=3)
CORRECTED = {"right": {"wears": "contact lens"}, "left": {"cataract": "none"}}
FIXATION = {"right": {"fixation": "CSM"}, "left": {"fixation": "CSM"}}


def occluded(*exams: date, sleep: tuple[date, float] | None = None, **terms: Any) -> Case:
    """Operated at two months, occluded by age, seen on `exams`; `terms` are of the regimen."""
    case = child(
        surgery=[removal("right", date(2026, 1, 10))],
        exam=[
            {"on": date(2026, 1, 17), **CORRECTED},
            *({"on": on, **FIXATION} for on in exams),
        ],
        occlusion=[{"eye": "left", "starts": STARTS, "who": "S. Lindqvist"}],
    )
    if sleep is not None:
        told = replace(case.examinations[-1], id="T-1/X9", on=sleep[0], findings=())
        told = replace(told, sleep_minutes=round(sleep[1] * 60))
        case = replace(case, examinations=(*case.examinations, told))
    return replace(case, regimens=(replace(case.regimens[0], **terms),))


def review(case: Case, today: date, kind: CheckKind = CheckKind.OCCLUSION) -> Check:
    found = next_check(plan_for(case, today), kind)
    assert found is not None
    return found


def test_the_next_look_is_the_one_agreed_and_says_who_agreed() -> None:
    case = occluded(DECIDED, review_on=LOOK, decided_on=DECIDED, proposed_by=("a/b",))
    found = review(case, DECIDED)
    assert (found.target, found.latest) == (LOOK, LAST)
    assert found.because.citation == "Agreed by S. Lindqvist."
    assert found.because.at.endswith("proposed by a/b")


def test_a_look_before_its_window_does_not_settle_the_one_agreed() -> None:
    early = occluded(DECIDED, DECIDED + timedelta(days=3), review_on=LOOK, decided_on=DECIDED)
    assert review(early, DECIDED + timedelta(days=4)).target == LOOK


def test_once_it_has_been_the_table_gives_the_next() -> None:
    case = occluded(DECIDED, LOOK, review_on=LOOK, decided_on=DECIDED)
    found = review(case, LOOK)
    assert found.because.decision == "occlusion_review"
    assert found.target == date(2026, 9, 17), "monthly in the first year"


def test_hours_end_with_the_look_agreed() -> None:
    case = occluded(DECIDED, review_on=LOOK, decided_on=DECIDED)
    spans = agreed_occlusion(plan_for(case, DECIDED))
    assert max(span.until for span in spans) == LAST + timedelta(days=1)


def test_hours_that_start_later_end_with_their_look_too() -> None:
    before = DECIDED - timedelta(days=3)
    case = occluded(before, starts=DECIDED, review_on=LOOK, decided_on=before)
    assert review(case, before).target == LOOK
    spans = agreed_occlusion(plan_for(case, before))
    assert min(span.start for span in spans) == DECIDED
    assert max(span.until for span in spans) == LAST + timedelta(days=1)


def test_hours_that_start_later_without_a_look_agreed_end_with_that_of_the_table() -> None:
    before = DECIDED - timedelta(days=3)
    case = occluded(before, starts=DECIDED)
    found = review(case, before)
    assert found.because.decision == "occlusion_review"
    spans = agreed_occlusion(plan_for(case, before))
    assert max(span.until for span in spans) == found.latest + timedelta(days=1)


def test_hours_of_which_no_table_says_when_to_look_are_not_agreed() -> None:
    plan = plan_for(occluded(DECIDED), DECIDED)
    unwatched = replace(
        plan,
        checks=tuple(c for c in plan.checks if c.kind is not CheckKind.OCCLUSION),
        problems=(Problem(ProblemKind.REFER, CheckKind.OCCLUSION, "silent.", "Ask.", Eye.RIGHT),),
    )
    assert any(span.until > DECIDED for span in agreed_occlusion(plan))
    assert all(span.until <= DECIDED for span in agreed_occlusion(unwatched))


def test_a_look_agreed_that_was_missed_is_overdue_and_ends_the_hours() -> None:
    case = occluded(DECIDED, review_on=LOOK, decided_on=DECIDED)
    late = LOOK + timedelta(days=30)
    assert review(case, late).status == "overdue"
    assert all(span.until <= late for span in agreed_occlusion(plan_for(case, late)))


def test_a_regimen_that_rests_has_no_hours_from_that_day_and_a_look_due() -> None:
    case = occluded(DECIDED, paused_from=DECIDED, review_on=LOOK, decided_on=DECIDED)
    plan = plan_for(case, DECIDED)
    assert max(span.until for span in plan.occlusion) == DECIDED
    assert review(case, DECIDED).target == LOOK


def test_a_look_agreed_at_the_stop_comes_before_the_year_of_watching() -> None:
    """13, 26 and 52 weeks: the registered protocol of a trial, see watch_after_stopping."""
    case = occluded(DECIDED, ends=DECIDED, review_on=LOOK, decided_on=DECIDED)
    checks = [c for c in plan_for(case, DECIDED).checks if c.kind is CheckKind.WATCH]
    weeks = [(c.target - DECIDED).days // 7 for c in checks]
    assert weeks == [2, 13, 26, 52]


def test_what_is_not_worn_by_the_hour_is_never_read_as_hours_by_age() -> None:
    case = occluded(DECIDED, method=Method.ATROPINE)
    plan = plan_for(case, DECIDED)
    assert case.regimens[0].dose == "not by the hour"
    assert plan.occlusion == ()
    assert next_check(plan, CheckKind.OCCLUSION) is not None


def test_the_sleep_that_a_family_reports_sets_the_hours_while_it_holds() -> None:
    """Galland 2012: 12.83 h of sleep at 10 months leave 11.17, half is 5.5; told 14, it is 5."""
    told = occluded(DECIDED, sleep=(DECIDED + timedelta(days=20), 14))
    normal = occluded(DECIDED)
    day = date(2026, 8, 25)

    def hours(case: Case, on: date) -> float:
        found = [s for s in plan_for(case, day).occlusion if s.start <= on < s.until]
        assert [s.eye for s in found] == [Eye.LEFT]
        return found[0].hours_per_day

    assert (hours(normal, date(2026, 9, 15)), hours(told, date(2026, 9, 15))) == (5.5, 5.0)
    later = date(2027, 4, 20)
    assert hours(told, later) == hours(normal, later), "half a year later it is asked again"
