"""One line of a table: what it tells, each reason why it tells nothing, and back to the line."""

from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from unicodedata import normalize

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rehab.care.case import Appointment, Case, Cause, Child, Eye, Procedure, Surgery, Sutures
from rehab.care.contacts import Consent, Contact, Limits
from rehab.csv_files import csv_bytes
from rehab.import_files import open_table
from rehab.import_lines import COLUMNS, EXAMPLE, Meaning, cells_of, read_line
from rehab.import_mapping import Explained
from rehab.measures.written_dates import DateOrder
from rehab.sheets import write_sheet

TODAY = date(2026, 4, 20)
PLAIN = {"number": "K-1", "name": "Badu Oro", "born": "2026-01-05"}
REMOVAL = {
    "surgery_1_eye": "right",
    "surgery_1_on": "2026-02-16",
    "surgery_1_procedure": "lens removal",
}


def problems(more: dict[str, str], order: DateOrder | None = None) -> tuple[str, ...]:
    told = read_line({**PLAIN, **more}, Meaning(TODAY, order))
    assert (told.case is None) == bool(told.problems)
    return told.problems


BAD = [
    ({"number": ""}, "number: is empty."),
    ({"born": ""}, "born: is empty."),
    ({"number": "K/1"}, "'K/1' cannot be a child's number."),
    ({"name": "Ba\x1bdu"}, "is no name that can be printed"),
    ({"born": "1980-01-05"}, "is more than 40 years ago"),
    ({"born": "5/1/2026"}, "born: '5/1/2026' would be a day as day/month/year or as month"),
    ({"gestation_weeks": "38.5"}, "gestation_weeks: '38.5' is not a whole number."),
    ({"gestation_weeks": "3"}, "3 weeks of gestation cannot be."),
    ({"phone": "5.55E+09"}, "'5.55E+09' is no number that can be dialled."),
    ({"language": "e\x07n"}, "the language 'e\\x07n' holds what cannot be printed"),
    ({"family": "x" * 41}, "is longer than 40 letters"),
    ({"contact_phone": "555 0101"}, "contact_name: is empty."),
    ({"contact_name": "Ama", "contact_email": "ama"}, "'ama' is no e-mail address."),
    ({"contact_name": "Ama", "contact_text_consent": "maybe"}, "'maybe' is not a word for"),
    ({"surgery_1_eye": "both"}, "surgery_1_on: is empty."),
    ({**REMOVAL, "surgery_1_eye": "both"}, "surgery_1_eye: 'both' is not a word for an eye."),
    ({**REMOVAL, "surgery_1_procedure": "LA"}, "surgery_1_procedure: 'la' is not a word for"),
    ({**REMOVAL, "surgery_1_on": "2025-12-31"}, "the surgery on 2025-12-31 is before the birth"),
    ({**REMOVAL, "surgery_1_on": "2026-04-21"}, "the surgery on 2026-04-21 has not been yet"),
    ({**REMOVAL, "surgery_2_eye": "left"}, "surgery_2_procedure: is empty."),
    (
        {**REMOVAL, **{k.replace("1", "2"): v for k, v in REMOVAL.items()}},
        "the right eye is operated twice on 2026-02-16.",
    ),
    (
        {**REMOVAL, "surgery_1_procedure": "secondary implant"},
        "the right eye is phakic, so secondary implant on 2026-02-16 cannot be.",
    ),
    ({"weekdays": "Monday, Lundi"}, "weekdays: 'Lundi' is no weekday."),
    ({"not_before": "9h30"}, "not_before: '9h30' is no time of day, such as 10:00."),
    ({"not_before": "24:00"}, "not_before: '24:00' is no time of day"),
    ({"farthest_km": "-5"}, "farthest_km: '-5' is not a whole number."),
    ({"farthest_km": "99999"}, "a distance of 99999 km cannot be."),
    ({"family": "#REF!"}, "family: the spreadsheet could not work this cell out (#REF!)."),
    ({"appointment_on": "2026-01-04"}, "the appointment on 2026-01-04 is before the birth"),
]


@pytest.mark.parametrize(("more", "words"), BAD)
def test_a_line_that_cannot_be_is_refused_with_its_reason(more: dict[str, str], words: str) -> None:
    assert any(words in problem for problem in problems(more)), problems(more)


def test_all_that_is_wrong_with_a_line_is_told_at_once() -> None:
    found = problems({"born": "46026", "phone": "x", "surgery_1_eye": "up"})
    assert [problem.partition(" ")[0] for problem in found] == [
        "born:",
        "'x'",
        "surgery_1_on:",
        "surgery_1_procedure:",
        "surgery_1_eye:",
    ]


@pytest.mark.parametrize(
    ("more", "eye"), [({"surgery_1_eye": said}, eye) for said, eye in
     (("OD", "right"), ("os", "left"), ("R", "right"), ("Left", "left"))],
)  # fmt: skip
def test_words_are_read_in_any_case(more: dict[str, str], eye: str) -> None:
    told = read_line({**PLAIN, **REMOVAL, **more, "surgery_1_sutures": "Non‑Absorbable"},
                     Meaning(TODAY))  # fmt: skip
    assert told.case is not None
    (surgery,) = told.case.surgeries
    assert (surgery.eye, surgery.sutures) == (eye, Sutures.NON_ABSORBABLE)


def test_the_days_in_question_are_kept_with_the_orders_they_would_allow() -> None:
    told = read_line({**PLAIN, **REMOVAL, "born": "5/1/2026", "surgery_1_on": "16/2/2026"},
                     Meaning(TODAY))  # fmt: skip
    assert told.days_in_question == (
        ("born", (DateOrder.DAY_FIRST, DateOrder.MONTH_FIRST)),
        ("surgery_1_on", (DateOrder.DAY_FIRST,)),
    )


@pytest.mark.parametrize("name", ["Example Child", "Another"])
def test_the_example_is_refused_only_while_nobody_has_changed_it(name: str) -> None:
    cells = {c: str(v) for c, v in cells_of(EXAMPLE).items() if v is not None} | {"name": name}
    told = read_line(cells, Meaning(TODAY))
    assert (told.case is None) == (name == "Example Child")


WORDS = st.text(
    st.characters(codec="utf-8", categories=("L", "N")) | st.sampled_from("=+-@;, "),
    min_size=1,
    max_size=20,
).map(lambda text: normalize("NFC", " ".join(text.split()))).filter(bool)  # fmt: skip
PHONES = st.from_regex(r"\+?[0-9]{2} [0-9]{3} [0-9]{4}", fullmatch=True)
DAYS = st.dates(date(2020, 1, 1), TODAY)


@st.composite
def cases(draw: st.DrawFn) -> Case:
    """Any child that a line can tell whole: an operation on each eye, a contact, limits."""
    born = draw(DAYS)
    child = Child(
        f"K-{draw(st.integers(0, 999))}",
        draw(WORDS),
        born,
        draw(st.none() | st.integers(22, 45)),
        draw(st.sampled_from(("en", "sw", "ky"))),
        draw(st.just("") | PHONES),
        draw(st.just("") | WORDS),
    )
    days = st.integers(0, (TODAY - born).days).map(lambda n: born + timedelta(days=n))
    surgeries = tuple(
        Surgery(
            "",
            eye,
            draw(days),
            draw(st.sampled_from(tuple(Procedure)[:2])),
            draw(st.sampled_from(Sutures)),
            draw(st.sampled_from(Cause)),
        )
        for eye in draw(st.lists(st.sampled_from(Eye), unique=True))
    )
    contact = Contact(
        "",
        draw(WORDS),
        draw(st.just("") | WORDS),
        draw(st.just("") | PHONES),
        draw(st.sampled_from(("", "ama@example.org"))),
        draw(st.just("") | WORDS),
        draw(st.sampled_from(Consent)),
        draw(st.sampled_from(Consent)),
    )
    limits = Limits(
        "",
        tuple(sorted(draw(st.sets(st.integers(0, 6))))),
        draw(st.none() | st.integers(0, 24 * 60 - 1)),
        draw(st.none() | st.integers(0, 20000)),
    )
    return Case(
        child,
        tuple(sorted(surgeries, key=lambda s: s.on)),
        appointments=draw(st.sampled_from(((), (Appointment("", date(2026, 5, 4)),)))),
        contacts=draw(st.sampled_from(((), (contact,)))),
        limits=limits,
    )


def _as_csv(path: Path, case: Case) -> None:
    path.write_bytes(csv_bytes((COLUMNS, cells_of(case).values())))


def _as_workbook(path: Path, case: Case) -> None:
    rows = [list(cells_of(case).values())]
    path.write_bytes(write_sheet(COLUMNS, rows, name="Children", made_on=TODAY))


@pytest.mark.parametrize("save", [_as_csv, _as_workbook])
def test_a_child_written_as_a_line_is_read_back_the_same(
    tmp_path_factory: pytest.TempPathFactory, save: Callable[[Path, Case], None]
) -> None:
    path = tmp_path_factory.mktemp("lines") / "children"

    @settings(max_examples=40, deadline=None)
    @given(cases())
    def returns(case: Case) -> None:
        save(path, case)
        (row,) = open_table(path, Explained()).rows()
        told = read_line(row.cells, Meaning(TODAY))
        assert told.case == case, told.problems

    returns()
