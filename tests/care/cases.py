"""Children for tests, told in the words of a case file."""

from datetime import date, timedelta
from typing import Any

from rehab.care.case import Case, with_family
from rehab.care.contacts import Contact, ContactTry
from rehab.care.plan import Plan, make_plan
from rehab.case_files import case_from
from rehab.measures.dates import add_months
from rehab.table_files import read_protocol

PROTOCOL = read_protocol()
BORN = date(2025, 11, 10)


def child(**facts: Any) -> Case:
    """A child born on 10 November 2025, with what else is told."""
    return case_from({"number": "T-1", "name": "Test", "born": BORN, **facts})


def plan_for(case: Case, today: date, months: int = 18) -> Plan:
    """Its plan in a clinic that is open every day."""
    horizon = add_months(today, months)
    days = [today + timedelta(days=n) for n in range((horizon - today).days)]
    return make_plan(case, PROTOCOL, today=today, horizon=horizon, open_days=days)


def removal(eye: str, on: date, **more: Any) -> dict[str, Any]:
    return {"eye": eye, "on": on, "procedure": "lens removal", "sutures": "none", **more}


def tried(case: Case, *tries: ContactTry, contacts: tuple[Contact, ...] = ()) -> Case:
    """`case` with what was tried to reach its family, and whom one may ring."""
    return with_family(case, contacts=contacts, tries=tries)
