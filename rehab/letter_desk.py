"""What the clinic does with letters: made from the plan of the day, in the family's language."""

from datetime import date

from rehab.care.case import Case
from rehab.care.plan import Plan
from rehab.letters.facts import About, facts_of
from rehab.letters.languages import SOURCE, code_of, language
from rehab.letters.letter import Letter, write_letter
from rehab.publish_desk import session_sites
from rehab.workflow import Desk, plan_of

LETTERS_FOLDER = "letters"


def make_letter(desk: Desk, kind: str, case: Case, *, today: date, code: str = "") -> Letter:
    """A letter of a kind about one child, in the language `code` or else in the family's."""
    plan = plan_of(desk, case, today=today)
    facts = facts_of(plan, desk.settings.clinic, about(desk, plan))
    chosen = code_of(code or case.child.language) or SOURCE
    country = ""
    return write_letter(kind, facts, language(chosen, country), language(SOURCE, country))


def about(desk: Desk, plan: Plan) -> About:
    clinic = desk.settings.clinic
    return About(
        days=desk.days(plan.today, plan.horizon),
        places=session_sites(desk.diary, clinic, plan.today, plan.horizon),
    )
