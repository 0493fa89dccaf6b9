"""Published target refractions, and the comment on a recorded one."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rehab.care.case import Child, Eye, Procedure, Surgery, case_of
from rehab.care.targets import (
    RESIDUAL_REFRACTION,
    WEAKER_IMPLANT,
    PublishedTarget,
    comment,
    published_targets,
    target_comments,
    weaker_implants,
)
from rehab.measures.age_text import parse_age
from rehab.table_files import read_protocol

PROTOCOL = read_protocol()
ON = date(2026, 4, 20)


def published(age: str) -> dict[str, PublishedTarget]:
    at = parse_age(age)
    told = published_targets(PROTOCOL, ON, age_days=at.days, age_months=at.months)
    return {one.name: one for one in told}


@pytest.mark.parametrize(
    ("name", "age", "says"),
    [
        # Wilson's table, seen in print.
        ("Wilson", "1 month", "+10.00"),
        ("Wilson", "3 months", "+9.00"),
        ("Wilson", "5 months", "+8.00"),
        ("Wilson", "11.9 months", "+7.00"),
        ("Wilson", "1 y", "+6.00"),
        ("Wilson", "3.9 y", "+5.00"),
        ("Wilson", "4 y", "+4.00"),
        ("Wilson", "5 y", "+3.00"),
        ("Wilson", "6 y", "+2.00"),
        ("Wilson", "7.5 y", "+1.50"),
        ("Wilson", "8 y", "+1.00"),
        ("Wilson", "13.9 y", "+0.50"),
        ("Wilson", "14 y", "plano"),
        # Enyedi 1998, Am J Ophthalmol 126:772, rule of 7; from memory.
        ("Enyedi", "3 y", "+4.00"),
        ("Enyedi", "7 y", "plano"),
        ("Enyedi", "9 y", "-2.00 to -1.00"),
        # Plager 2002, J Cataract Refract Surg 28:810; from memory.
        ("Plager", "3 y", "+5.00"),
        ("Plager", "6 y", "+2.25"),
        ("Plager", "9 y", "+0.50 to +1.00"),
        ("Plager", "13 y", "plano"),
        # Crouch 2002, J AAPOS 6:277; from memory.
        ("Crouch", "2 y", "+3.50"),
        ("Crouch", "8 y", "+1.00"),
        ("Crouch", "10 y", "plano to +0.50"),
        # VanderVeen 2012, Arch Ophthalmol 130:293: +8 at 28 to 48 days, +6 to 7 months.
        ("Infant Aphakia Treatment Study", "35 d", "+8.00"),
        ("Infant Aphakia Treatment Study", "48 d", "+8.00"),
        ("Infant Aphakia Treatment Study", "49 d", "+6.00"),
        # Weakley 2017, Ophthalmology 124:822: for plano at 5 years.
        ("Weakley, plano at 5 years", "5 w", "+10.50"),
        ("Weakley, plano at 5 years", "10 w", "+8.50"),
    ],
)
def test_a_published_table_aims_as_printed(name: str, age: str, says: str) -> None:
    one = published(age)[name]
    assert (one.says, one.silent) == (says, False)


@pytest.mark.parametrize(
    ("name", "age", "why"),
    [
        ("Enyedi", "11 m", "The rule begins at 1 year of age."),
        ("Plager", "2 y", "The table begins at 3 years of age."),
        ("Plager", "14 y", "The table ends at 13 years of age."),
        ("Crouch", "11 m", "The table begins at 1 year of age."),
        ("Infant Aphakia Treatment Study", "27 d", "The trial operated from 28 days of age."),
        ("Weakley, plano at 5 years", "210 d", "The trial operated before 7 months of age."),
    ],
)
def test_outside_its_ages_a_table_is_silent_and_says_why(name: str, age: str, why: str) -> None:
    one = published(age)[name]
    assert (one.says, one.silent) == (why, True)
    assert (one.lowest_quarters, one.highest_quarters) == (None, None)


def test_what_is_from_memory_is_marked_so() -> None:
    seen = {name: one.because.seen for name, one in published("3 y").items()}
    assert seen == {
        "Wilson": True,
        "Enyedi": False,
        "Plager": False,
        "Crouch": False,
        "Infant Aphakia Treatment Study": True,
        "Weakley, plano at 5 years": True,
    }


@pytest.mark.parametrize(
    ("name", "age_months", "plano_dioptres", "chosen_dioptres"),
    [
        # Dahan and Drusedau 1997, J Cataract Refract Surg 23 Suppl 1:618; from memory.
        ("Dahan and Drusedau", 12, 30.0, 24.0),
        # Lekskul 2018, Clin Ophthalmol 12:1905.
        ("a series in Bangkok", 30, 28.0, 22.4),
        ("a series in Bangkok", 8, 30.0, 21.0),
    ],
)
def test_implants_were_chosen_weaker_than_for_plano(
    name: str, age_months: int, plano_dioptres: float, chosen_dioptres: float
) -> None:
    table = PROTOCOL.ask(WEAKER_IMPLANT[name], ON, {"age_at_surgery_months": age_months})
    percent = table.number("weaker_percent")
    assert plano_dioptres * (100 - percent) / 100 == pytest.approx(chosen_dioptres)
    told = {one.name: one.says for one in weaker_implants(PROTOCOL, ON, age_months=age_months)}
    assert told[name] == f"{percent} % weaker"


def test_older_implants_were_weakened_by_dioptres() -> None:
    # Lekskul 2018, Clin Ophthalmol 12:1905: 2 D from 5 to 8 years, 1 D to 10 years.
    said = [weaker_implants(PROTOCOL, ON, age_months=age)[1].says for age in (72, 100, 130)]
    assert said == ["2.00 D weaker", "1.00 D weaker", "The series ended at 10 years of age."]


@pytest.mark.parametrize(
    ("quarters", "sentence"),
    [
        (4, "+1.00 is within the published range (plano to +1.50)."),
        (6, "+1.50 is within the published range (plano to +1.50)."),
        (7, "+1.75 leaves more hyperopia than the published range (plano to +1.50)."),
        (-1, "-0.25 leaves less hyperopia than the published range (plano to +1.50)."),
    ],
)
def test_a_target_is_placed_beside_all_tables(quarters: int, sentence: str) -> None:
    assert comment(quarters, tuple(published("7 y").values())) == sentence


def test_a_target_of_which_no_table_speaks_is_said_to_be_so() -> None:
    silent = tuple(one for one in published("1 d").values() if one.silent)
    assert comment(32, silent) == "+8.00: no published table speaks of this age at surgery."


@given(st.integers(0, 215), st.integers(-80, 80))
def test_no_comment_ever_names_an_implant(age_months: int, quarters: int) -> None:
    told = published_targets(PROTOCOL, ON, age_days=age_months * 30, age_months=age_months)
    said = comment(quarters, told)
    assert "published" in said
    assert "implant" not in said


@given(st.integers(0, 214))
def test_an_older_child_is_never_aimed_at_more_hyperopia(age_months: int) -> None:
    younger, older = (
        published_targets(PROTOCOL, ON, age_days=round(m * 30.4375), age_months=m)
        for m in (age_months, age_months + 1)
    )
    for before, after in zip(younger, older, strict=True):
        if before.highest_quarters is not None and after.highest_quarters is not None:
            assert before.highest_quarters >= after.highest_quarters


def test_the_recorded_target_of_a_child_is_commented_by_the_age_at_surgery() -> None:
    aimed = Surgery(
        "K-1/S1",
        Eye.LEFT,
        date(2026, 3, 8),
        Procedure.LENS_REMOVAL_WITH_IMPLANT,
        target_quarters=32,
    )
    unaimed = Surgery("K-1/S2", Eye.RIGHT, date(2026, 3, 22), Procedure.LENS_REMOVAL)
    case = case_of(Child("K-1", "A", date(2026, 2, 1)), surgeries=(aimed, unaimed))
    (told,) = target_comments(case, PROTOCOL)
    assert told.surgery == aimed
    assert told.sentence == "+8.00 is within the published range (+8.00 to +10.50)."
    assert {one.name for one in told.published} == set(RESIDUAL_REFRACTION)
