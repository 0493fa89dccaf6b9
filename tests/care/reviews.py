"""Reviews of occlusion for tests: a child, a regimen and acuities, told in few words."""

from dataclasses import replace
from datetime import date, timedelta

from rehab.care.case import Child, Eye, Method, Regimen
from rehab.care.regimen_life import State
from rehab.care.response import Proposal, propose
from rehab.care.review_facts import Look, ReviewFacts
from rehab.care.wear import WearSummary
from rehab.measures.acuity import Acuity, parse_acuity
from rehab.measures.dates import add_months
from rehab.measures.fixation import Finding, Nystagmus
from rehab.table_files import read_protocol

PROTOCOL = read_protocol()
STARTS = date(2026, 1, 5)
LETTERS = "electronic letters"


def letters(logmar: float, test: str = LETTERS) -> Acuity:
    return parse_acuity(f"{logmar:.2f} logMAR", test=test)


def look(week: int, treated: float | None, fellow: float | None = 0.0) -> Look:
    """What was read by letters `week` weeks after the start of the regimen."""
    return Look(
        STARTS + timedelta(weeks=week),
        None if treated is None else letters(treated),
        None if fellow is None else letters(fellow),
    )


def child_of(age_months: int, on: date = STARTS) -> Child:
    return Child("T-1", "Test", add_months(on, -age_months))


def worn(percent: int) -> WearSummary:
    """A month of which every day is recorded, with `percent` of 6 hours a day worn."""
    return WearSummary(10_800, 10_800, 108 * percent, 30, 30, 30, (), ())


def review(
    *looks: Look, minutes: int | None = 120, age_months: int = 60, **more: object
) -> ReviewFacts:
    """A child of `age_months` at the start, `minutes` a day, nothing wrong, well worn."""
    regimen = Regimen("R-1", Eye.LEFT, Method.PATCH, minutes, 7, STARTS, "S. Lindqvist", "")
    plain = ReviewFacts(
        child=child_of(age_months),
        laterality="none",
        nystagmus=Nystagmus.NONE,
        regimen=regimen,
        minutes_today=330 if minutes is None else minutes,
        state=State.RUNNING,
        looks=looks,
        worn=worn(90),
        double_vision=Finding.NO,
        new_squint=Finding.NO,
        skin_reaction=Finding.NO,
    )
    return replace(plain, **more)  # type: ignore[arg-type]


def stopped(week: int, facts: ReviewFacts) -> ReviewFacts:
    """The same child, with the regimen stopped `week` weeks after its start and watched since."""
    ended = replace(facts.regimen, ends=STARTS + timedelta(weeks=week))
    return replace(facts, regimen=ended, state=State.WATCHED)


def proposed(facts: ReviewFacts) -> Proposal:
    return propose(facts, PROTOCOL, facts.review.on)


def rows(proposal: Proposal) -> list[str]:
    return [because.row for because in proposal.because]
