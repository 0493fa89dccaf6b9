"""Plans made by hand for the tests of letters: an invented child, days that can be counted on."""

from datetime import date, timedelta

from rehab.care.case import (
    Appointment,
    Case,
    CheckKind,
    Child,
    Correction,
    Examination,
    Eye,
    EyeFindings,
    Method,
    Outcome,
    Procedure,
    Surgery,
)
from rehab.care.checks import Check, Status
from rehab.care.occlusion import Span
from rehab.care.plan import Plan
from rehab.care.problems import Problem, ProblemKind
from rehab.care.visits import Visit
from rehab.letters.facts import About, facts_of
from rehab.letters.html_page import html_of
from rehab.letters.languages import language
from rehab.letters.letter import write_letter
from rehab.rules.protocol import Because
from rehab.settings import Clinic

TODAY = date(2026, 2, 3)
CHILD = Child("R-0042", "Ilo Marrow", date(2025, 9, 1))
CLINIC = Clinic(
    "Quillmoor Children's Eye Clinic",
    phone="555 0100",
    emergency_phone="555 0199",
    out_of_hours="555 0142, ask for the eye doctor",
    address="2 Lantern Row, Quillmoor",
)
BECAUSE = Because("pressure_check", TODAY, "a-row", "assumption", "", "", False, "", ())


def day(days: int) -> date:
    return TODAY + timedelta(days=days)


def check(
    kind: CheckKind,
    days: int,
    *,
    eye: Eye = Eye.RIGHT,
    late: int = 7,
    status: Status = Status.PLANNED,
) -> Check:
    """A check whose best day is `days` from today, good from a week before to `late` days after."""
    latest = day(days + late)
    return Check(
        kind,
        eye,
        anchor=TODAY,
        ordinal=days,
        earliest=day(days - 7),
        target=day(days),
        latest=latest,
        by=latest,
        status=status,
        because=BECAUSE,
    )


def visit(days: int, *checks: Check, booked: bool = False) -> Visit:
    earliest = max(c.earliest for c in checks)
    return Visit(day(days), earliest, min(c.latest for c in checks), checks, booked)


def span(
    start: int,
    until: int,
    minutes: int,
    *,
    eye: Eye = Eye.LEFT,
    accepted: bool = True,
    days_per_week: int = 7,
    method: Method = Method.PATCH,
) -> Span:
    return Span(
        day(start), day(until), eye, minutes, days_per_week, method, accepted, BECAUSE, "regimen-1"
    )


def problem(kind: ProblemKind, about: str, eye: Eye | None = None) -> Problem:
    return Problem(kind, about, "An inward reason.", "An inward step.", eye, BECAUSE)


def plan(
    *visits: Visit,
    occlusion: tuple[Span, ...] = (),
    problems: tuple[Problem, ...] = (),
    more_checks: tuple[Check, ...] = (),
    child: Child = CHILD,
) -> Plan:
    checks = (*(c for v in visits for c in v.checks), *more_checks)
    return Plan(child, TODAY, day(540), checks, visits, occlusion, problems)


def whole_plan() -> Plan:
    """A plan with a bit of everything: a booked visit, later ones, changing hours, a referral."""
    return plan(
        visit(7, check(CheckKind.REVIEW, 7), check(CheckKind.PRESSURE, 8), booked=True),
        visit(
            34,
            check(CheckKind.REFRACTION, 34),
            check(CheckKind.OCCLUSION, 35),
            check(CheckKind.VISUAL_AXIS, 34),
        ),
        visit(
            90,
            check(CheckKind.ANAESTHESIA, 90, late=21),
            check(CheckKind.PRESSURE, 92, late=21),
            check(CheckKind.PRESSURE, 91, eye=Eye.LEFT, late=21),
            check(CheckKind.FUNDUS, 90, late=28),
        ),
        occlusion=(span(-20, 5, 150), span(5, 26, 180), span(26, 90, 210)),
        problems=(problem(ProblemKind.REFER, CheckKind.SUTURES, Eye.RIGHT),),
    )


def known_case() -> Case:
    """The child as recorded: an operation, what it wears, a visit that it was not brought to."""
    worn = (
        EyeFindings(Eye.RIGHT, correction=Correction.CONTACT_LENS),
        EyeFindings(Eye.LEFT, correction=Correction.GLASSES),
    )
    return Case(
        CHILD,
        surgeries=(Surgery("s1", Eye.RIGHT, day(-60), Procedure.LENS_REMOVAL),),
        examinations=(Examination("e1", day(-30), worn),),
        appointments=(Appointment("a1", day(-6), Outcome.WAS_NOT_BROUGHT),),
    )


def letter_page(
    plan: Plan,
    clinic: Clinic = CLINIC,
    *,
    kind: str = "family",
    code: str = "en",
    about: About | None = None,
) -> str:
    """A letter of a kind as an HTML page."""
    facts = facts_of(plan, clinic, about or About())
    return html_of(write_letter(kind, facts, language(code), language("en")))
