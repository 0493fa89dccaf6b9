"""A case file with a mistake is refused with the child, what is wrong and what to do."""

from datetime import date
from pathlib import Path

import pytest

from rehab.care.case import CheckKind, Eye, Method, Outcome, Symptoms
from rehab.care.sharing import SchoolTopic, Sharing
from rehab.care.wear import WearDay
from rehab.case_files import read_cases
from rehab.errors import RecordError
from rehab.measures.fixation import Finding

TODAY = "today = 2026-11-23\n"
CHILD = TODAY + '[[child]]\nnumber = "K-1"\nname = "Ana B"\nborn = 2026-02-11\n'


def _read(folder: Path, text: str) -> None:
    file = folder / "children.toml"
    file.write_text(text, encoding="utf-8")
    read_cases(file)


MISTAKES = {
    "an unknown key of a child": (
        CHILD + 'nickname = "A"',
        "children.toml, child K-1: nickname is not one of appointment, born, contact, ending,",
    ),
    "an unknown key of an operation": (
        CHILD + 'surgery = [{ on = 2026-03-30, side = "right" }]',
        "children.toml, child K-1: side is not one of cause, eye, on, procedure, sutures, target.",
    ),
    "an unknown key of an eye": (
        CHILD + 'exam = [{ on = 2026-03-30, right = { iop = "14" } }]',
        "children.toml, child K-1: iop is not one of acuity,",
    ),
    "an unknown key of the file": (
        TODAY + '[[children]]\nnumber = "K-1"',
        "children.toml: children is not one of child, today.",
    ),
    "a child without a number": (
        TODAY + '[[child]]\nname = "Ana B"\nborn = 2026-02-11',
        "children.toml, child without a number: number is missing.",
    ),
    "a child without a birthday": (
        TODAY + '[[child]]\nnumber = "K-1"\nname = "Ana B"',
        "children.toml, child K-1: born is missing.",
    ),
    "an examination without a day": (
        CHILD + 'exam = [{ right = { pressure = "14" } }]',
        "children.toml, child K-1: on is missing.",
    ),
    "a regimen without who accepted it": (
        CHILD + 'occlusion = [{ eye = "left", starts = 2026-04-06 }]',
        "children.toml, child K-1: who is missing.",
    ),
    "an unknown word of what a school may be told": (
        CHILD + 'sharing = { on = 2026-04-06, school = ["diagnosis"], agreed_by = "A" }',
        "children.toml, child K-1: 'diagnosis' is not a word for school. Known: operation, sight.",
    ),
    "a prescription without its last day": (
        CHILD + 'prescription = [{ on = 2026-04-06, text = "drops", prescriber = "Dr H" }]',
        "children.toml, child K-1: until is missing.",
    ),
    "a file without its day": ("", "children.toml: today is missing."),
    "a day in quotes": (
        TODAY + '[[child]]\nnumber = "K-1"\nname = "Ana B"\nborn = "2026-02-11"',
        "children.toml, child K-1: born is '2026-02-11', not a day. "
        "Write born = 2026-11-23, without quotes.",
    ),
    "an unknown word for an eye": (
        CHILD + 'surgery = [{ on = 2026-03-30, eye = "both", procedure = "lens removal" }]',
        "children.toml, child K-1: 'both' is not a word for eye. Known: right, left.",
    ),
    "an unknown word for an operation": (
        CHILD + 'surgery = [{ on = 2026-03-30, eye = "left", procedure = "operation" }]',
        "children.toml, child K-1: 'operation' is not a word for procedure. Known: lens removal,",
    ),
    "an unknown word for a check": (
        CHILD + 'exam = [{ on = 2026-03-30, done = ["right=look"] }]',
        "children.toml, child K-1: 'look' is not a word for a check. Known: post_operative_review,",
    ),
    "an acuity that no notation explains": (
        CHILD + 'exam = [{ on = 2026-03-30, right = { acuity = "good" } }]',
        'children.toml, child K-1: "good" is in no notation for acuity that is known here.',
    ),
    "no TOML": ("today = ", "children.toml: Invalid value (at end of document)."),
}


@pytest.mark.parametrize(("text", "said"), MISTAKES.values(), ids=MISTAKES.keys())
def test_a_mistake_is_told_with_its_place(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(RecordError) as refused:
        _read(tmp_path, text)
    assert str(refused.value).startswith(said)


def test_everything_told_of_a_child_is_read(tmp_path: Path) -> None:
    file = tmp_path / "children.toml"
    file.write_text(
        CHILD
        + """story = "A story."
surgery = [{ on = 2026-03-30, eye = "right", procedure = "lens removal", sutures = "absorbable" }]
appointment = [{ on = 2026-12-01 }, { on = 2026-06-02, outcome = "was not brought" }]
wear = [{ from = 2026-05-04, minutes = [90, 0] }]

[[child.exam]]
on = 2026-05-04
right = { acuity = ["6/18", "CSM"] }
test = "crowded letters"
new_squint = "no"
skin_reaction = "yes"
sleep_hours = 13.5

[[child.exam]]
on = 2026-04-06
right = { pressure = "14" }
done = ["right=suture review"]

[[child.occlusion]]
eye = "left"
starts = 2026-04-06
minutes_per_day = 90
who = "S. L."
tapering = true
review_on = 2026-06-02
""",
        encoding="utf-8",
    )
    read = read_cases(file)
    (told,) = read.told
    case = told.case
    assert (read.today, told.story) == (date(2026, 11, 23), "A story.")
    assert [(s.id, s.eye, s.sutures) for s in case.surgeries] == [
        ("K-1/S1", Eye.RIGHT, "absorbable")
    ]
    first, second = case.examinations
    assert (first.id, first.on) == ("K-1/X1", date(2026, 4, 6))
    assert first.done == ((CheckKind.SUTURES, Eye.RIGHT),)
    assert [(a.written, a.test) for a in second.of(Eye.RIGHT).acuities] == [
        ("6/18", "crowded letters"),
        ("CSM", "crowded letters"),
    ]
    assert told.wear == (WearDay(date(2026, 5, 4), 90), WearDay(date(2026, 5, 5), 0))
    assert second.symptoms == Symptoms(new_squint=Finding.NO, skin_reaction=Finding.YES)
    assert second.sleep_minutes == 810
    (regimen,) = case.regimens
    assert (regimen.tapering, regimen.review_on) == (True, date(2026, 6, 2))
    assert (regimen.method, regimen.minutes_per_day, regimen.days_per_week, regimen.ends) == (
        Method.PATCH,
        90,
        7,
        None,
    )
    assert [(a.on, a.outcome) for a in case.appointments] == [
        (date(2026, 6, 2), Outcome.WAS_NOT_BROUGHT),
        (date(2026, 12, 1), Outcome.BOOKED),
    ]


def test_prescriptions_and_what_a_school_may_be_told_are_read(tmp_path: Path) -> None:
    file = tmp_path / "children.toml"
    file.write_text(
        CHILD
        + """
sharing = { on = 2026-04-06, school = ["sight"], agreed_by = "Eve B" }
prescription = [
  { on = 2026-04-13, until = 2026-04-20, text = "Later", prescriber = "Dr H" },
  { on = 2026-04-06, until = 2026-04-13, text = '''
Two
lines''', prescriber = "Dr H" },
]
""",
        encoding="utf-8",
    )
    (told,) = read_cases(file).told
    assert told.case.sharing == Sharing("K-1/G1", date(2026, 4, 6), (SchoolTopic.SIGHT,), "Eve B")
    assert [(p.id, p.on, p.until, p.text, p.prescriber) for p in told.case.prescriptions] == [
        ("K-1/D1", date(2026, 4, 6), date(2026, 4, 13), "Two\nlines", "Dr H"),
        ("K-1/D2", date(2026, 4, 13), date(2026, 4, 20), "Later", "Dr H"),
    ]


def test_the_size_of_an_eye_and_the_target_of_an_implant_are_read(tmp_path: Path) -> None:
    file = tmp_path / "children.toml"
    file.write_text(
        CHILD
        + """
exam = [{ on = 2026-03-30, right = { corneal_diameter = "9.8", axial_length = "17.42 mm" } }]
[[child.surgery]]
on = 2026-03-30
eye = "right"
procedure = "lens removal with implant"
target = "+8.00"
""",
        encoding="utf-8",
    )
    (told,) = read_cases(file).told
    found = told.case.examinations[0].of(Eye.RIGHT)
    assert (found.corneal_diameter_tenths_mm, found.axial_length_hundredths_mm) == (98, 1742)
    assert told.case.surgeries[0].target_quarters == 32
