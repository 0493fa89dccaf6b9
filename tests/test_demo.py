"""The demonstration holds: the same bytes each time, every story told, every date explained."""

from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import pairwise
from pathlib import Path

import pytest
from click.testing import CliRunner

from rehab.care.case import Case, CheckKind, Eye, Outcome, Procedure
from rehab.care.checks import Status
from rehab.care.contacts import Limits
from rehab.care.history import lens_removal
from rehab.care.plan import Plan, agreed_occlusion, next_check
from rehab.care.problems import ProblemKind
from rehab.cli.main import rehab
from rehab.cli.plan import reasons
from rehab.demo import demo_cases, run_demo
from rehab.errors import RehabError
from rehab.measures.dates import completed_months
from rehab.measures.fixation import Nystagmus
from rehab.settings import read_settings
from rehab.wear_desk import worn
from rehab.workflow import open_desk, plan_of

CASES = demo_cases()
TODAY = CASES.today
NUMBERS = [told.case.child.number for told in CASES.told]
ONE_DAY = timedelta(days=1)


@dataclass(frozen=True)
class Demo:
    """The demonstration run twice, and the plan of each child as its clinic's database gives it."""

    first: Path
    second: Path
    cases: dict[str, Case]
    plans: dict[str, Plan]


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Demo:
    first, second = (tmp_path_factory.mktemp("demo") / name for name in ("first", "second"))
    for out in (first, second):
        run_demo(out, None, lambda line: None)
    desk = open_desk(read_settings(first / "clinic"))
    with closing(desk.store):
        cases = {case.child.number: case for case in desk.store.cases()}
        plans = {number: plan_of(desk, case, today=TODAY) for number, case in cases.items()}
    return Demo(first, second, cases, plans)


def _written(out: Path) -> dict[str, bytes]:
    files = (path for path in sorted(out.rglob("*")) if path.is_file())
    return {str(path.relative_to(out)): path.read_bytes() for path in files if path.suffix != ".db"}


def test_two_runs_write_the_same_bytes(demo: Demo) -> None:
    first = _written(demo.first)
    letters = [number for number in NUMBERS if number != "K-116"]
    assert set(first) == {
        "arrivals.csv",
        "arrivals.toml",
        "clinic/clinic.toml",
        "recall.csv",
        "start-here.html",
        *(f"letters/{number}.html" for number in letters),
        *(f"calendars/{number}.ics" for number in letters),
    }
    assert first == _written(demo.second)


def test_every_child_is_stored_as_it_is_told(demo: Demo) -> None:
    assert len(NUMBERS) == len(set(NUMBERS)) == len(demo.cases)
    for told in CASES.told:
        stored = demo.cases[told.case.child.number]
        assert stored.child == told.case.child
        assert told.story
        assert stored.prescriptions == told.case.prescriptions
        assert stored.sharing == told.case.sharing
        for name in ("surgeries", "examinations", "regimens", "appointments"):
            assert len(getattr(stored, name)) == len(getattr(told.case, name)), name
        assert stored.ending == told.case.ending
        for name in ("contacts", "limits", "tries"):
            given = getattr(told.case, name)
            if name == "limits" and given != Limits():
                given = replace(given, id=f"{told.case.child.number}/L1")
            assert getattr(stored, name) == given, name


def test_a_diary_of_wear_is_counted_with_its_gaps(demo: Demo) -> None:
    desk = open_desk(read_settings(demo.first / "clinic"))
    with closing(desk.store):
        counted = worn(desk, "K-111", today=TODAY).whole
    assert (counted.days_prescribed, counted.days_recorded) == (60, 53)
    assert counted.doubtful == ()
    assert (counted.adherence_percent, counted.adherence_percent_recorded) == (62, 70)


def test_nothing_but_a_booking_lies_after_the_day_of_the_stories() -> None:
    for told in CASES.told:
        case = told.case
        happened = [s.on for s in case.surgeries] + [e.on for e in case.examinations]
        assert max(happened) <= TODAY, case.child.number
        for appointment in case.appointments:
            assert appointment.on <= TODAY or appointment.outcome is Outcome.BOOKED


def _minutes(plan: Plan) -> list[int]:
    return [span.minutes_per_day for span in plan.occlusion if span.until > TODAY]


def _proposed(plan: Plan) -> list[int]:
    return [span.minutes_per_day for span in plan.occlusion if not span.accepted]


def _rises_then_falls_at_8_months(case: Case, plan: Plan) -> bool:
    spans = [span for span in plan.occlusion if span.accepted and span.until > TODAY]
    peak = max(spans, key=lambda s: s.minutes_per_day)
    rising = [s.minutes_per_day for s in spans if s.start <= peak.start]
    after = next(s for s in spans if s.start == peak.until)
    return (
        all(a < b for a, b in pairwise(rising))
        and after.minutes_per_day < peak.minutes_per_day
        and completed_months(case.child.date_of_birth, peak.until) == 8
    )


def _hours_by_the_expected_birth(case: Case, plan: Plan) -> bool:
    now = next(s for s in plan.occlusion if s.start <= TODAY < s.until)
    return completed_months(case.child.date_of_birth, TODAY) == 8 and now.minutes_per_day == 6 * 60


def _both_aphakic(case: Case, plan: Plan) -> bool:
    removals = [lens_removal(case, eye) for eye in Eye]
    return not plan.occlusion and all(
        r is not None and r.procedure is Procedure.LENS_REMOVAL for r in removals
    )


def _overdue(kind: CheckKind) -> Callable[[Case, Plan], bool]:
    def found(case: Case, plan: Plan) -> bool:
        return any(c.kind is kind and c.status is Status.OVERDUE for c in plan.checks)

    return found


def _asks_about(words: str) -> Callable[[Case, Plan], bool]:
    def found(case: Case, plan: Plan) -> bool:
        return any(p.kind is ProblemKind.REFER and words in p.what for p in plan.problems)

    return found


def _counted_from(procedure: Procedure) -> Callable[[Case, Plan], bool]:
    def found(case: Case, plan: Plan) -> bool:
        review = next_check(plan, CheckKind.REVIEW)
        last = case.surgeries[-1]
        return review is not None and review.anchor == last.on and last.procedure is procedure

    return found


def _due_by(kind: CheckKind, by: date) -> Callable[[Case, Plan], bool]:
    def found(case: Case, plan: Plan) -> bool:
        check = next_check(plan, kind)
        return check is not None and check.earliest <= by <= check.latest

    return found


def _not_brought_twice(case: Case, plan: Plan) -> bool:
    missed = [a for a in case.appointments if a.outcome is Outcome.WAS_NOT_BROUGHT]
    return len(missed) == 2 and all(s.until <= TODAY for s in agreed_occlusion(plan))


def _checked_for_life_at_17(case: Case, plan: Plan) -> bool:
    years = completed_months(case.child.date_of_birth, TODAY) // 12
    return years == 17 and {CheckKind.PRESSURE, CheckKind.FUNDUS} <= {c.kind for c in plan.checks}


STORIES: dict[str, tuple[str, Callable[[Case, Plan], bool]]] = {
    "K-101": ("an infant's hours rise, then fall at 8 months", _rises_then_falls_at_8_months),
    "K-102": ("newly operated, only proposed", lambda c, p: _proposed(p)[:3] == [60, 120, 180]),
    "K-103": ("both eyes aphakic, operated a week apart", _both_aphakic),
    "K-104": ("born early", _hours_by_the_expected_birth),
    "K-105": ("a toddler with an implant", _due_by(CheckKind.OCCLUSION, TODAY)),
    "K-106": ("operated late, sees well", lambda c, p: not p.occlusion and not p.problems),
    "K-107": ("school age, one eye at 6/18", lambda c, p: _proposed(p) == [120]),
    "K-108": ("manifest nystagmus", lambda c, p: c.examinations[-1].nystagmus == "manifest"),
    "K-109": ("latent nystagmus", _asks_about("latent nystagmus")),
    "K-110": ("an injury, sutures to review", _due_by(CheckKind.SUTURES, TODAY)),
    "K-111": ("a secondary implant", _counted_from(Procedure.SECONDARY_IMPLANT)),
    "K-112": ("a membrane cleared", _counted_from(Procedure.MEMBRANE_CLEARANCE)),
    "K-113": ("a weaker eye after glasses", lambda c, p: not c.surgeries and _proposed(p) == [120]),
    "K-114": ("glasses first", lambda c, p: not c.surgeries and not p.occlusion and not p.problems),
    "K-115": ("not brought twice", _not_brought_twice),
    "K-116": ("moved away", lambda c, p: c.ending is not None and not p.checks and not p.visits),
    "K-117": ("a twin who sees alike with both eyes", _both_aphakic),
    "K-118": ("a twin whose left eye lags", _asks_about("One eye is preferred")),
    "K-119": ("a teenager to hand over", _checked_for_life_at_17),
    "K-120": ("the second eye waits", _due_by(CheckKind.SECOND_EYE, date(2026, 11, 26))),
    "K-121": ("watched after stopping", _due_by(CheckKind.WATCH, date(2026, 12, 7))),
}


def test_every_child_stands_for_a_story() -> None:
    assert list(STORIES) == NUMBERS


@pytest.mark.parametrize("number", NUMBERS)
def test_the_plan_shows_what_the_story_stands_for(demo: Demo, number: str) -> None:
    story, holds = STORIES[number]
    assert holds(demo.cases[number], demo.plans[number]), story


def test_the_overdue_checks_are_those_that_were_missed(demo: Demo) -> None:
    overdue = {
        number: {c.kind for c in plan.checks if c.status is Status.OVERDUE}
        for number, plan in demo.plans.items()
    }
    assert {number: kinds for number, kinds in overdue.items() if kinds} == {
        "K-103": {CheckKind.CONTACT_LENS},
        "K-108": {CheckKind.REFRACTION},
        "K-115": {
            CheckKind.REVIEW,
            CheckKind.PRESSURE,
            CheckKind.VISUAL_AXIS,
            CheckKind.REFRACTION,
            CheckKind.CONTACT_LENS,
            CheckKind.OCCLUSION,
        },
    }


def test_twins_share_birthday_and_telephone_but_no_record(demo: Demo) -> None:
    one, other = demo.cases["K-117"], demo.cases["K-118"]
    assert one.child.date_of_birth == other.child.date_of_birth
    assert one.child.phone == other.child.phone
    assert {s.id for s in one.surgeries}.isdisjoint(s.id for s in other.surgeries)


def test_the_family_not_brought_twice_is_called_first(demo: Demo) -> None:
    heads, first, *_ = (demo.first / "recall.csv").read_text(encoding="utf-8-sig").splitlines()
    assert heads.startswith("contact,number,name")
    assert first.startswith("TODAY,K-115,Zodwa M")
    assert "was not brought (2026-08-31, 2026-10-12)" in first


def _dates(plan: Plan) -> Iterator[date]:
    for check in plan.checks:
        yield from (check.earliest, check.target, check.latest, check.by)
    for visit in plan.visits:
        yield from (visit.on, visit.earliest, visit.latest)
    for span in plan.occlusion:
        yield from (span.start, span.until - ONE_DAY)


@pytest.mark.parametrize("number", NUMBERS)
def test_every_date_of_a_plan_is_explained(demo: Demo, number: str) -> None:
    plan = demo.plans[number]
    days = sorted(set(_dates(plan)))
    assert days or number == "K-116"
    booked_only = {v.on for v in plan.visits if not v.checks}
    for day in days:
        found = list(reasons(plan, day))
        assert found, day
        ruled = [because for _, because in found if because is not None]
        assert ruled or day in booked_only, day
        assert all(because.citation for because in ruled), day


@pytest.mark.parametrize("number", ["K-106", "K-114"])
def test_the_command_explains_every_date_too(demo: Demo, number: str) -> None:
    for day in sorted(set(_dates(demo.plans[number]))):
        home = str(demo.first / "clinic")
        line = ["--home", home, "plan", "why", number, str(day), "--today", str(TODAY)]
        result = CliRunner().invoke(rehab, line, prog_name="rehab")
        assert (result.exit_code, result.stderr) == (0, ""), (day, result.output)
        assert "source    " in result.stdout or "a person booked this day" in result.stdout


def test_occlusion_that_has_ended_is_no_longer_shown_as_ahead(demo: Demo) -> None:
    line = ["--home", str(demo.first / "clinic"), "plan", "show", "K-121", "--today", str(TODAY)]
    result = CliRunner().invoke(rehab, line, prog_name="rehab")
    assert (result.exit_code, result.stderr) == (0, "")
    assert "VISITS" in result.stdout
    assert "OCCLUSION" not in result.stdout


def test_the_start_page_tells_every_story_and_links_to_what_was_written(demo: Demo) -> None:
    page = (demo.first / "start-here.html").read_text(encoding="utf-8")
    assert "a clinician decides" in page
    assert "All of it is invented" in page
    for told in CASES.told:
        number = told.case.child.number
        assert f'<tr id="{number}">' in page
        for link in (f"letters/{number}.html", f"calendars/{number}.ics"):
            assert (f'href="{link}"' in page) is (demo.first / link).is_file()
    assert "http" not in page


def test_a_later_day_shows_what_time_does_to_the_plans(tmp_path: Path) -> None:
    made = run_demo(tmp_path / "later", date(2027, 6, 1), lambda line: None)
    assert (made.today, made.children) == (date(2027, 6, 1), len(NUMBERS))
    # By then every family is waited for, except the one that moved away.
    assert made.to_contact == len(NUMBERS) - 1


def test_a_day_before_the_records_is_refused_and_nothing_is_written(tmp_path: Path) -> None:
    with pytest.raises(RehabError) as refused:
        run_demo(tmp_path / "demo", date(2026, 11, 22), lambda line: None)
    assert str(refused.value) == (
        "demo: the invented records go up to 2026-11-23, so no plan can stand on 2026-11-22. "
        "Leave out --today, or give a later day."
    )
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_not_empty_is_refused_and_kept(tmp_path: Path) -> None:
    kept = tmp_path / "mine.txt"
    kept.write_text("mine")
    with pytest.raises(RehabError) as refused:
        run_demo(tmp_path, None, lambda line: None)
    assert str(refused.value) == (
        f"{tmp_path}: this folder is not empty. Choose a new one, or empty it."
    )
    assert [*tmp_path.iterdir()] == [kept]
    assert kept.read_text() == "mine"


def test_nothing_is_left_when_it_stops_midway(tmp_path: Path) -> None:
    def stop_at_the_fifth(line: str) -> None:
        if line.startswith("K-105"):
            assert (tmp_path / "demo" / "letters" / "K-104.html").is_file()
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        run_demo(tmp_path / "demo", None, stop_at_the_fifth)
    assert list(tmp_path.iterdir()) == []


def test_every_notation_of_acuity_has_its_place_in_the_stories() -> None:
    written = {
        a.written
        for told in CASES.told
        for e in told.case.examinations
        for f in e.findings
        for a in f.acuities
    }
    assert {"6/18", "20/40", "0.60 logMAR", "5.7 cpd", "HM"} <= written
    assert {Nystagmus.LATENT, Nystagmus.MANIFEST} <= {
        e.nystagmus for told in CASES.told for e in told.case.examinations
    }
