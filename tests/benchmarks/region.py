"""An invented region: any number of children with three years of history, in a database."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from random import Random

from sqlalchemy import Connection

from rehab.care.case import (
    Appointment,
    Case,
    Cataract,
    Child,
    Correction,
    Examination,
    Eye,
    EyeFindings,
    Method,
    Outcome,
    Procedure,
    Regimen,
    Surgery,
    Sutures,
    VisualAxis,
    case_of,
    with_family,
)
from rehab.care.contacts import Consent, Contact
from rehab.measures.fixation import Finding, Fixation
from rehab.measures.pressure import Pressure
from rehab.measures.refraction import Refraction
from rehab.store.schema import metadata
from rehab.store.store import Stamp, Store

TODAY = date(2026, 11, 23)
SEED = 5
KINDS_OF_STORY = 500
VISIT_DAYS = (1, 7, 30, 91, 182, 273, 365, 456, 547, 638, 730, 820, 910, 1000)
DIARY_TABLES = ("site", "session_pattern", "closure", "holiday")
STAMP = Stamp("a clerk", datetime(2026, 11, 23, 9, tzinfo=UTC), "an invented region")


def stories(number: int) -> Iterator[Case]:
    """Children operated up to three years ago, seen ever less, some with hours agreed."""
    random = Random(SEED)
    for n in range(number):
        yield _story(f"N{n:06}", random)


def _story(number: str, random: Random) -> Case:
    operated = TODAY - timedelta(days=random.randrange(20, 1096))
    born = operated - timedelta(days=random.choice((45, 70, 120, 300, 700, 1500)))
    eye = random.choice(tuple(Eye))
    implant = (operated - born).days > 200
    surgery = Surgery(
        f"{number}/S1",
        eye,
        operated,
        Procedure.LENS_REMOVAL_WITH_IMPLANT if implant else Procedure.LENS_REMOVAL,
        Sutures.ABSORBABLE,
        target_quarters=16 if implant else None,
    )
    seen: list[Examination] = []
    appointments: list[Appointment] = []
    for days in VISIT_DAYS:
        on = operated + timedelta(days=days + random.randrange(0, 6 if days < 60 else 21))
        if on > TODAY:
            break
        came = random.random() < 0.9 - days / 2500
        outcome = Outcome.ATTENDED if came else Outcome.WAS_NOT_BROUGHT
        appointments.append(Appointment(f"{number}/A{len(appointments) + 1}", on, outcome))
        if came:
            key = f"{number}/X{len(seen) + 1}"
            seen.append(_seen(key, on, eye, days, implant=implant, random=random))
    if random.random() < 0.5:
        on = TODAY + timedelta(days=random.randrange(1, 60))
        appointments.append(Appointment(f"{number}/A{len(appointments) + 1}", on))
    regimens: tuple[Regimen, ...] = ()
    if len(seen) > 3:
        starts = seen[2].on + timedelta(days=1)
        regimens = (
            Regimen(
                f"{number}/R1",
                eye.fellow,
                Method.PATCH,
                random.choice((60, 120, 240)),
                7,
                starts,
                "A. Orthoptist",
                "agreed",
                review_on=starts + timedelta(days=90),
                decided_on=seen[2].on,
            ),
        )
    child = Child(number, f"Child {number}", born, phone="+00 555 0100")
    case = case_of(
        child,
        surgeries=(surgery,),
        examinations=tuple(seen),
        regimens=regimens,
        appointments=tuple(appointments),
    )
    contact = Contact(
        f"{number}/C1",
        f"Parent {number}",
        "mother",
        "+00 555 0100",
        address="a village",
        text_consent=Consent.YES,
    )
    return with_family(case, (contact,))


def _seen(key: str, on: date, eye: Eye, days: int, *, implant: bool, random: Random) -> Examination:
    worn = Correction.GLASSES if implant else Correction.CONTACT_LENS
    operated = EyeFindings(
        eye,
        fixation=Fixation(central=Finding.YES, steady=Finding.YES),
        pressure=Pressure(random.randrange(9, 21)),
        refraction=Refraction((16 if implant else 90) - days // 60) if days > 20 else None,
        visual_axis=VisualAxis.CLEAR,
        correction=worn if days > 20 else Correction.UNKNOWN,
    )
    fellow = EyeFindings(
        eye.fellow, pressure=Pressure(random.randrange(9, 21)), cataract=Cataract.NONE
    )
    return Examination(key, on, (operated, fellow))


def fill(store: Store, children: int) -> None:
    """So many children: the first are told one by one, the others are copies of these by number."""
    told = min(children, KINDS_OF_STORY)
    for case in stories(told):
        number = case.child.number
        with store.transaction() as tx:
            tx.add(number, case.child, STAMP)
            for facts in (
                case.surgeries,
                case.examinations,
                case.regimens,
                case.appointments,
                case.contacts,
            ):
                for fact in facts:
                    tx.add(number, replace(fact, id=""), STAMP)
    made = told
    while made < children:
        more = min(made, children - made)
        with store.transaction() as tx:
            _copy(tx.connection, made, more)
        made += more


def _copy(connection: Connection, made: int, more: int) -> None:
    """Children 0 to `more` once more, numbered from `made` on: a number is N and six digits."""
    for table in metadata.sorted_tables:
        owned = next((name for name in ("key", "owner") if name in table.c), None)
        if owned is None or table.name in DIARY_TABLES:
            continue
        digits = f"CAST(substr({owned}, 2, 6) AS INTEGER)"
        names = [f'"{column.name}"' for column in table.c]
        moved = [
            f"printf('N%06d', {digits} + {made}) || substr({name}, 8)"
            if name in (f'"{owned}"', '"child_number"')
            else name
            for name in names
        ]
        connection.exec_driver_sql(
            f"INSERT INTO {table.name} ({', '.join(names)}) "
            f"SELECT {', '.join(moved)} FROM {table.name} WHERE {digits} < {more}"
        )
