"""One line of a clinic's table as a child's case, or every reason why it is none; and back."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date
from enum import StrEnum
from typing import TypeVar

from rehab.care.case import Appointment, Case, Cause, Child, Eye, Procedure, Surgery, Sutures
from rehab.care.contact_checks import check_contact, check_limits, check_phone, check_text
from rehab.care.contacts import Consent, Contact, Limits
from rehab.care.findings import read_word
from rehab.care.history import check_surgery
from rehab.errors import RecordError, RehabError
from rehab.measures.clock import clock, read_clock
from rehab.measures.dates import WEEKDAYS
from rehab.measures.typed_text import plain
from rehab.measures.written_dates import DateOrder, orders_that_fit, read_day
from rehab.sheets import Cell
from rehab.workflow import check_appointment, check_child

Word = TypeVar("Word", bound=StrEnum)
Read = TypeVar("Read")

CHILD = ("number", "name", "born", "gestation_weeks", "language", "phone", "family")
NEEDED = ("number", "name", "born")
CONTACT = ("name", "relation", "phone", "email", "address", "text_consent", "email_consent")
SURGERY = ("eye", "on", "procedure", "sutures", "cause")
MOST_SURGERIES = 2
LIMITS = ("weekdays", "not_before", "farthest_km")
COLUMNS = (
    *CHILD,
    *(f"contact_{part}" for part in CONTACT),
    *(f"surgery_{n}_{part}" for n in range(1, MOST_SURGERIES + 1) for part in SURGERY),
    *LIMITS,
    "appointment_on",
)
VOCABULARIES: dict[str, tuple[str, ...]] = {
    "eye": tuple(Eye),
    "procedure": tuple(Procedure),
    "sutures": tuple(Sutures),
    "cause": tuple(Cause),
    "consent": tuple(Consent),
    "weekdays": WEEKDAYS,
}
SHORT_WORD = 40
ERRORS_OF_CELLS = ("#n/a", "#ref!", "#value!", "#name?", "#div/0!", "#null!", "#num!")
EXAMPLE = Case(
    Child("EXAMPLE-1", "Example Child", date(2026, 1, 5), 38, "en", "+00 555 0100", "example"),
    surgeries=(
        Surgery(
            "", Eye.RIGHT, date(2026, 2, 16), Procedure.LENS_REMOVAL, Sutures.ABSORBABLE,
            Cause.CONGENITAL,
        ),
    ),
    contacts=(
        Contact(
            "", "Example Parent", "mother", "+00 555 0101", "parent@example.org", "1 Example Lane",
            Consent.YES, Consent.NO,
        ),
    ),
    limits=Limits("", (0, 2), 10 * 60, 60),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Meaning:
    """What must be known to read a line: the order of its dates, the clinic's words, the day."""

    today: date
    dates: DateOrder | None = None
    words: Mapping[str, Mapping[str, str]] | None = None


@dataclass(frozen=True, slots=True)
class Told:
    """What a line tells: a case, or problems. `given` are the columns that were not empty.

    `days_in_question` are the days whose order was not told, each with its column and the orders
    in which it would be a day.
    """

    number: str
    case: Case | None
    given: frozenset[str]
    problems: tuple[str, ...] = ()
    days_in_question: tuple[tuple[str, tuple[DateOrder, ...]], ...] = ()


class _Line:
    """Reads the cells of one line and gathers what is wrong with them."""

    def __init__(self, cells: Mapping[str, str], meaning: Meaning) -> None:
        self.cells = {name: said for name, said in cells.items() if said}
        self.meaning = meaning
        self.problems: list[str] = []
        self.in_question: list[tuple[str, tuple[DateOrder, ...]]] = []

    def read(self, column: str, how: Callable[[str], Read], missing: Read) -> Read:
        said = self.cells.get(column)
        if said is None:
            return missing
        try:
            return how(said)
        except RehabError as error:
            self.problems.append(f"{column}: {error.what}{' ' * bool(error.do)}{error.do}")
            return missing

    def text(self, column: str, missing: str = "") -> str:
        return self.cells.get(column, missing)

    def day(self, column: str) -> date | None:
        def how(said: str) -> date:
            try:
                return read_day(said, self.meaning.dates)
            except RehabError:
                fits = orders_that_fit(said)
                if self.meaning.dates is None and fits:
                    self.in_question.append((column, fits))
                raise

        return self.read(column, how, None)

    def word(self, column: str, kind: str, vocabulary: type[Word], missing: Word) -> Word:
        return self.read(
            column, lambda said: read_word(vocabulary, self.meant(kind, said), column), missing
        )

    def meant(self, kind: str, said: str) -> str:
        word = plain(said)
        return (self.meaning.words or {}).get(kind, {}).get(word, word)

    def needed(self, prefix: str, parts: tuple[str, ...]) -> bool:
        """Whether all of these were given; says which were not."""
        missing = [part for part in parts if f"{prefix}{part}" not in self.cells]
        self.problems += [f"{prefix}{part}: is empty." for part in missing]
        return not missing

    def check(self, check: Callable[..., None], *facts: object) -> None:
        try:
            check(*facts)
        except RehabError as error:
            self.problems.append(f"{error.what}{' ' * bool(error.do)}{error.do}")


def read_line(cells: Mapping[str, str], meaning: Meaning) -> Told:
    """What the `cells` of a line tell, by the names of COLUMNS; "" says nothing."""
    line = _Line(cells, meaning)
    line.problems += [
        f"{name}: the spreadsheet could not work this cell out ({said})."
        for name, said in line.cells.items()
        if said.startswith("#") and said.lower() in ERRORS_OF_CELLS
    ]
    number, given = line.text("number"), frozenset(line.cells)
    if (number, line.text("name")) == (EXAMPLE.child.number, EXAMPLE.child.name):
        return Told(number, None, given, ("this is the example of the template: delete it.",))
    child = _child(line)
    surgeries = tuple(_surgeries(line))
    contacts = tuple(_contact(line))
    limits = _limits(line)
    on = line.day("appointment_on")
    case = None
    # What contradicts what is asked only of facts that could all be read.
    if child is not None and not line.problems:
        case = _checked(line, Case(child, contacts=contacts, limits=limits), surgeries, on)
    problems = tuple(dict.fromkeys(line.problems))
    return Told(number, None if problems else case, given, problems, tuple(line.in_question))


def _child(line: _Line) -> Child | None:
    whole = line.needed("", NEEDED)
    born, weeks = line.day("born"), line.read("gestation_weeks", _whole_number, None)
    phone = line.text("phone")
    line.check(check_phone, phone, "")
    for column in ("language", "family"):
        said = line.text(column)
        line.check(_check_short, column, said)
    if not whole or born is None:
        return None
    return Child(
        line.text("number"),
        line.text("name"),
        born,
        weeks,
        line.text("language", "en").lower(),
        phone,
        line.text("family"),
    )


def _surgeries(line: _Line) -> Iterator[Surgery]:
    for n in range(1, MOST_SURGERIES + 1):
        prefix = f"surgery_{n}_"
        if not any(f"{prefix}{part}" in line.cells for part in SURGERY):
            continue
        whole = line.needed(prefix, ("eye", "on", "procedure"))
        eye = line.read(f"{prefix}eye", lambda said: _eye(line.meant("eye", said)), None)
        on = line.day(f"{prefix}on")
        procedure = line.word(
            f"{prefix}procedure", "procedure", Procedure, Procedure.OTHER_INTRAOCULAR
        )
        sutures = line.word(f"{prefix}sutures", "sutures", Sutures, Sutures.UNKNOWN)
        cause = line.word(f"{prefix}cause", "cause", Cause, Cause.UNKNOWN)
        if whole and eye and on:
            yield Surgery("", eye, on, procedure, sutures, cause)


def _contact(line: _Line) -> Iterator[Contact]:
    if not any(f"contact_{part}" in line.cells for part in CONTACT):
        return
    line.needed("contact_", ("name",))
    texts = {part: line.text(f"contact_{part}") for part in CONTACT[:5]}
    consents = (
        line.word(f"contact_{part}", "consent", Consent, Consent.UNKNOWN) for part in CONTACT[5:]
    )
    yield Contact("", *texts.values(), *consents)  # type: ignore[arg-type]


def _limits(line: _Line) -> Limits:
    return Limits(
        "",
        line.read("weekdays", lambda said: _weekdays(line, said), ()),
        line.read("not_before", read_clock, None),
        line.read("farthest_km", _whole_number, None),
    )


def _checked(line: _Line, case: Case, surgeries: tuple[Surgery, ...], on: date | None) -> Case:
    """`case` with its surgeries and appointment, each checked against what came before it."""
    today = line.meaning.today
    line.check(check_child, case.child, today)
    for contact in case.contacts:
        line.check(check_contact, contact, "")
    line.check(check_limits, case.limits, (), "")
    for surgery in sorted(surgeries, key=lambda s: s.on):
        line.check(check_new_surgery, case, surgery, today)
        case = replace(case, surgeries=(*case.surgeries, surgery))
    if on is not None:
        appointment = Appointment("", on)
        line.check(check_appointment, case.child, appointment, today)
        case = replace(case, appointments=(appointment,))
    return case


def check_new_surgery(case: Case, surgery: Surgery, today: date) -> None:
    """As `check_surgery`; an eye is operated once on one day."""
    if any((s.eye, s.on) == (surgery.eye, surgery.on) for s in case.surgeries):
        raise RecordError(f"the {surgery.eye} eye is operated twice on {surgery.on}.")
    check_surgery(case, surgery, today)


def _check_short(column: str, said: str) -> None:
    check_text(column, said, "")
    if len(said) > SHORT_WORD:
        raise RecordError(f"{column}: {said[:SHORT_WORD]!r}… is longer than {SHORT_WORD} letters.")


def _eye(said: str) -> Eye:
    return Eye(
        {"r": "right", "l": "left", "od": "right", "os": "left"}.get(said)
        or read_word(Eye, said, "an eye")
    )


def _whole_number(said: str) -> int:
    if not said.isascii() or not said.isdigit() or len(said) > 6:
        raise RecordError(f"{said!r} is not a whole number.")
    return int(said)


def _weekdays(line: _Line, said: str) -> tuple[int, ...]:
    found = set()
    for part in said.replace("/", ",").replace(";", ",").split(","):
        day = line.meant("weekdays", part).capitalize()
        if day not in WEEKDAYS:
            raise RecordError(
                f"{part.strip()!r} is no weekday.", do=f"Known: {', '.join(WEEKDAYS)}."
            )
        found.add(WEEKDAYS.index(day))
    return tuple(sorted(found))


def cells_of(case: Case) -> dict[str, Cell]:
    """The cells by which a line tells `case`: the reverse of `read_line`."""
    child, limits = case.child, case.limits
    cells: dict[str, Cell] = dict.fromkeys(COLUMNS)
    cells |= {name: getattr(child, "date_of_birth" if name == "born" else name) for name in CHILD}
    for contact in case.contacts[:1]:
        cells |= {f"contact_{part}": getattr(contact, part) for part in CONTACT}
    for n, surgery in enumerate(case.surgeries[:MOST_SURGERIES], 1):
        cells |= {f"surgery_{n}_{part}": getattr(surgery, part) for part in SURGERY}
    cells["weekdays"] = ", ".join(WEEKDAYS[day] for day in limits.weekdays)
    minute = limits.not_before_minute
    cells["not_before"] = "" if minute is None else clock(minute)
    cells["farthest_km"] = limits.farthest_km
    for appointment in case.appointments[:1]:
        cells["appointment_on"] = appointment.on
    return cells
