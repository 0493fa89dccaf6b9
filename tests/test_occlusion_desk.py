"""Random courses at the orthoptist's desk: no day has two regimens, none is lost, and the family's
calendar says what is in force."""

from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from random import Random

import pytest

from rehab.care.case import Case, CheckKind, Child, Examination, Eye, EyeFindings, Symptoms
from rehab.care.changes import Entry, EntryKind, EntryState
from rehab.care.plan import Plan, agreed_occlusion, next_check
from rehab.errors import RecordError
from rehab.measures.acuity import parse_acuity
from rehab.measures.fixation import Finding
from rehab.occlusion_desk import (
    accept_occlusion,
    change_occlusion,
    decline_occlusion,
    pause_occlusion,
    propose_occlusion,
    stop_occlusion,
)
from rehab.occlusion_terms import Asked
from rehab.settings import Clinic, Settings
from rehab.store.store import Stamp, create_or_upgrade, open_store
from rehab.table_files import read_protocol
from rehab.workflow import Desk, add_child, add_examination, plan_of, refresh
from tests.postgres import Refilled

PROTOCOL = read_protocol()
START = date(2026, 1, 5)
# Enough for every decision to be met; many more: python -m tests.benchmarks.courses
COURSES, LOOKS = {"sqlite": 20, "postgresql": 4}, 6
SEVEN_DAYS = tuple(range(7))
Dose = tuple[Eye, int, int]


def stamp(why: str = "as the orthoptist says") -> Stamp:
    return Stamp("S. Lindqvist", datetime(2026, 1, 5, tzinfo=UTC), why)


@pytest.fixture(params=["sqlite", "postgresql"])
def kind(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture
def desk(kind: str, tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[Desk]:
    clinic = Clinic("Harbour Eye Clinic", open_weekdays=SEVEN_DAYS, horizon_months=6)
    settings = Settings(tmp_path, clinic)
    if kind == "postgresql":
        refilled: Refilled = request.getfixturevalue("refilled")
        settings = replace(settings, database=refilled.fill("empty"))
    else:
        create_or_upgrade(settings.database_url)
    with closing(open_store(settings.database_url)) as store:
        yield Desk(settings, PROTOCOL, store)


@dataclass
class Course:
    """One child at the desk, whose findings and decisions are left to chance."""

    desk: Desk
    number: str
    chance: Random
    treated: float = 0.6

    def look(self, on: date) -> None:
        self.treated = max(0.0, self.treated + self.chance.choice((-0.2, -0.1, 0, 0, 0.1, 0.2)))
        fellow = self.chance.choice((0.0, 0.0, 0.0, 0.0, 0.1, 0.2))
        asked = self.chance.choice((Finding.NO,) * 8 + (Finding.YES, Finding.UNKNOWN))
        add_examination(
            self.desk,
            self.number,
            Examination(
                "",
                on,
                tuple(
                    EyeFindings(eye, (parse_acuity(f"{logmar:.2f} logMAR", test="symbols"),))
                    for eye, logmar in ((Eye.RIGHT, self.treated), (Eye.LEFT, fellow))
                ),
                symptoms=Symptoms(asked, Finding.NO, Finding.NO),
            ),
            today=on,
            stamp=stamp(""),
        )

    def decide(self, on: date) -> str:
        """One decision left to chance, refused where it may not be; the word of what was done."""
        asked = Asked(on, stamp())
        if self.chance.random() < 0.7:
            try:
                propose_occlusion(self.desk, self.number, asked)
            except RecordError:
                return "refused"
        decide, asked = self.chance.choice(
            (
                (accept_occlusion, asked),
                (accept_occlusion, asked),
                (accept_occlusion, asked),
                (decline_occlusion, asked),
                (pause_occlusion, asked),
                (stop_occlusion, asked),
                (change_occlusion, replace(asked, minutes_per_day=self.chance.choice((60, 240)))),
                (
                    change_occlusion,
                    replace(asked, minutes_per_day=90, on=on + timedelta(days=5), days_per_week=6),
                ),
            )
        )
        before = self.desk.store.history(self.number)
        try:
            decide(self.desk, self.number, asked)
        except RecordError:
            assert self.desk.store.history(self.number) == before, "a refusal writes nothing"
            return "refused"
        return decide.__name__

    def stands(self, today: date) -> tuple[Case, Plan, tuple[Entry, ...]]:
        case = self.desk.store.case(self.number)
        return case, plan_of(self.desk, case, today=today), self.desk.store.entries(self.number)


def in_force(case: Case, on: date) -> list[Dose]:
    return [
        (r.occluded_eye, r.minutes_per_day or 0, r.days_per_week)
        for r in case.regimens
        if r.starts <= on and on < (r.ends or date.max) and on < (r.paused_from or date.max)
    ]


def written(entries: tuple[Entry, ...], on: date) -> list[Dose]:
    return [
        (Eye(e.eye), e.minutes_per_day, e.days_per_week)
        for e in entries
        if e.kind is EntryKind.OCCLUSION
        and e.state is not EntryState.WITHDRAWN
        and e.start <= on < e.until
    ]


def hold(course: Course, today: date) -> None:
    """What must hold after any decision."""
    case, plan, entries = course.stands(today)
    assert max(len(in_force(case, today + timedelta(days=n))) for n in range(-40, 60)) <= 1
    agreed = max((span.until for span in agreed_occlusion(plan)), default=today)
    for n in range((agreed - today).days):
        day = today + timedelta(days=n)
        assert written(entries, day) == in_force(case, day), day
    beyond = [e for e in entries if e.kind is EntryKind.OCCLUSION and e.state is EntryState.LIVE]
    assert all(entry.until <= max(agreed, today) for entry in beyond)
    review = next_check(plan, CheckKind.OCCLUSION)
    if review is not None:
        last_good = review.latest + timedelta(days=1)
        assert all(entry.until <= max(last_good, today) for entry in beyond), "unseen hours"
    last = case.regimens[-1] if case.regimens else None
    if last is not None and last.ends is None and last.starts <= today:
        assert review is not None, "every regimen has a review"
    if last is not None and last.ends == today:
        assert next_check(plan, CheckKind.WATCH) is not None, "every stop has a watch"


def courses(desk: Desk, count: int, chance: Random) -> set[str]:
    """Random courses, of which everything must hold after each decision; what was decided."""
    done: set[str] = set()
    for n in range(count):
        course = Course(desk, f"R-{n}", chance)
        child = Child(course.number, "Random", date(2021, chance.randrange(1, 13), 3))
        add_child(desk, child, today=START, stamp=stamp(""))
        course.look(START)
        change_occlusion(
            desk, course.number, Asked(START, stamp(), minutes_per_day=120, eye=Eye.LEFT)
        )
        today, kept = START, desk.store.history(course.number)
        for _ in range(LOOKS):
            today += timedelta(days=chance.choice((3, 7, 14, 28, 42)))
            course.look(today)
            word = course.decide(today)
            if word == "refused":
                # Nobody decided, yet a danger sign found today ends hours all the same.
                refresh(desk, course.number, today=today)
            done.add(word)
            hold(course, today)
            now = desk.store.history(course.number)
            assert set(kept) <= set(now), "no version of anything is ever gone"
            kept = now
    return done


def test_random_courses_keep_every_regimen_and_the_calendar_in_step(desk: Desk, kind: str) -> None:
    assert courses(desk, COURSES[kind], Random(20261125)) == {
        "refused", "accept_occlusion", "change_occlusion", "decline_occlusion",
        "pause_occlusion", "stop_occlusion",
    }  # fmt: skip
