"""Refraction as it is written, in both forms, and moved between glasses and cornea."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rehab.errors import MeasureError
from rehab.measures.refraction import (
    Refraction,
    parse_refraction,
    spherical_equivalent_dioptres,
    to_corneal_plane,
    to_spectacle_plane,
    transpose,
    write_minus_cylinder,
    write_plus_cylinder,
    write_refraction,
)

_CYLINDERS = st.integers(-40, 40).filter(bool)
REFRACTIONS = st.builds(Refraction, st.integers(-120, 120)) | st.builds(
    Refraction, st.integers(-120, 120), _CYLINDERS, st.integers(1, 180)
)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("+4.00/-1.00x90", Refraction(16, -4, 90)),
        ("+4.00 -1.00 x 90", Refraction(16, -4, 90)),
        ("+4.00−1.00×90°", Refraction(16, -4, 90)),
        ("+4.00 DS / -1.00 DC x 90", Refraction(16, -4, 90)),
        ("+4,00/-1,00 axis 5", Refraction(16, -4, 5)),
        ("+2.25 −2.25×175", Refraction(9, -9, 175)),
        ("+4.00", Refraction(16)),
        ("+4", Refraction(16)),
        ("-2.25DS", Refraction(-9)),
        ("−.50", Refraction(-2)),
        ("plano", Refraction(0)),
        ("0.00", Refraction(0)),
        ("plano/-1.00x180", Refraction(0, -4, 180)),
        ("+29.00", Refraction(116)),
    ],
)
def test_a_refraction_is_read_in_quarter_dioptres(text: str, expected: Refraction) -> None:
    assert parse_refraction(text) == expected


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (
            "+12.3",
            "+12.3 is not a whole number of quarter dioptres; the nearest are +12.25 and +12.50",
        ),
        ("-12.3", "the nearest are -12.50 and -12.25"),
        ("+4.00/-1.00x190", "An axis of 190 is not 1 to 180"),
        ("+4.00/-1.00", "The cylinder -1.00 has no axis"),
        ("+4.00 x 90", "The axis 90 has no cylinder"),
        ("4.00", "4.00 has no sign: +4.00 or -4.00?"),
        ("+4.00/1.00x90", "1.00 has no sign"),
        ("+400", "A power of +400.00 is outside -40.00 to +40.00"),
        ("+40.00/+0.25x90", "A power of +40.25 is outside"),
        ("+4.00/-10.25x90", "A cylinder of -10.25 is outside"),
        ("hazy", 'Write for example "+4.00/-1.00x90"'),
        ("+4001.00", "is not a sphere"),
        ("", "is not a sphere"),
    ],
)
def test_what_is_no_refraction_is_refused_with_the_reason(text: str, words: str) -> None:
    with pytest.raises(MeasureError) as refused:
        parse_refraction(text)
    assert words in str(refused.value)
    assert 'Write for example "+4.00/-1.00x90"' in str(refused.value)


def test_axis_0_is_read_as_180_and_says_so() -> None:
    read = parse_refraction("+4.00/-1.00x0")
    assert read == Refraction(16, -4, 180)
    assert read.notes == ("Axis 0 was read as 180.",)


def test_an_axis_without_power_is_left_out_and_says_so() -> None:
    read = parse_refraction("+4.00/0.00x90")
    assert read == Refraction(16)
    assert read.notes == ("There is no cylinder, so axis 90 was left out.",)


@pytest.mark.parametrize(("cylinder", "axis"), [(-4, 0), (-4, 181), (0, 90)])
def test_an_axis_belongs_to_a_cylinder(cylinder: int, axis: int) -> None:
    with pytest.raises(MeasureError, match="An axis of"):
        Refraction(16, cylinder, axis)


def test_spherical_equivalent_is_the_sphere_and_half_the_cylinder() -> None:
    # Definition, from memory: +10.00/-2.00 has an equivalent of +9.00.
    assert spherical_equivalent_dioptres(parse_refraction("+10.00/-2.00x90")) == 9.0
    assert spherical_equivalent_dioptres(parse_refraction("+1.00/-0.25x90")) == 0.875


def test_both_forms_of_cylinder_are_written() -> None:
    read = parse_refraction("+4.00/-1.00x90")
    assert write_minus_cylinder(read) == "+4.00/-1.00x90"
    assert write_plus_cylinder(read) == "+3.00/+1.00x180"
    assert write_minus_cylinder(parse_refraction("+3.00/+1.00x180")) == "+4.00/-1.00x90"
    assert write_plus_cylinder(parse_refraction("plano")) == "plano"


@pytest.mark.parametrize(
    ("glasses", "vertex_mm", "cornea"),
    [
        # +13.00 at 12 mm is a published worked example; the others are by the same formula,
        # F / (1 - dF), to the nearest quarter. Below 4.00 the rule is to leave the power alone.
        ("+13.00", 12, "+15.50"),
        ("+12.00", 12, "+14.00"),
        ("+10.00", 12, "+11.25"),
        ("+16.00", 12, "+19.75"),
        ("-10.00", 12, "-9.00"),
        ("+12.00", 14, "+14.50"),
        ("+3.00", 12, "+3.00"),
        ("-3.75", 15, "-3.75"),
        ("+12.00/-2.00x90", 12, "+14.00/-2.75x90"),
        ("+12.00/-9.00x90", 12, "+14.00/-11.00x90"),
    ],
)
def test_a_lens_on_the_cornea_is_stronger_in_plus(
    glasses: str, vertex_mm: int, cornea: str
) -> None:
    moved = to_corneal_plane(parse_refraction(glasses), vertex_mm)
    assert write_refraction(moved) == cornea


def test_a_contact_lens_of_32_becomes_glasses_of_23() -> None:
    # By the reverse formula: 23.12 at 12 mm.
    assert to_spectacle_plane(parse_refraction("+32.00"), 12) == parse_refraction("+23.00")


@pytest.mark.parametrize("vertex_mm", [-1, 21])
def test_a_vertex_distance_no_face_has_is_refused(vertex_mm: int) -> None:
    with pytest.raises(MeasureError, match="outside 0 to 20 mm"):
        to_corneal_plane(Refraction(40), vertex_mm)


def test_a_power_that_no_distance_explains_is_refused() -> None:
    with pytest.raises(MeasureError, match="cannot be moved 20 mm"):
        to_corneal_plane(Refraction(200), 20)


@given(REFRACTIONS)
def test_every_refraction_is_read_back_as_it_was_written(refraction: Refraction) -> None:
    for write in (write_refraction, write_minus_cylinder, write_plus_cylinder):
        read = parse_refraction(write(refraction))
        assert read in (refraction, transpose(refraction))
    assert parse_refraction(write_refraction(refraction)) == refraction


@given(REFRACTIONS)
def test_transposing_twice_gives_the_same_lens(refraction: Refraction) -> None:
    once = transpose(refraction)
    assert transpose(once) == refraction
    assert spherical_equivalent_dioptres(once) == spherical_equivalent_dioptres(refraction)


@given(REFRACTIONS, st.integers(0, 16))
def test_moving_a_lens_does_not_depend_on_the_form_of_its_cylinder(
    refraction: Refraction, vertex_mm: int
) -> None:
    moved = to_corneal_plane(refraction, vertex_mm)
    assert transpose(to_corneal_plane(transpose(refraction), vertex_mm)) == moved


@given(st.integers(-119, 119), st.integers(0, 16))
def test_a_stronger_lens_stays_stronger_when_moved(quarters: int, vertex_mm: int) -> None:
    weaker, stronger = (
        to_corneal_plane(Refraction(q), vertex_mm) for q in (quarters, quarters + 1)
    )
    assert weaker.sphere_quarters <= stronger.sphere_quarters


@given(st.integers(0, 100), st.integers(0, 14))
def test_to_the_cornea_and_back_is_within_a_quarter(quarters: int, vertex_mm: int) -> None:
    back = to_spectacle_plane(to_corneal_plane(Refraction(quarters), vertex_mm), vertex_mm)
    assert abs(back.sphere_quarters - quarters) <= 1


@given(st.text() | st.text("+-0123456789./x@ ", max_size=20))
def test_any_text_is_read_back_as_written_or_refused(text: str) -> None:
    try:
        refraction = parse_refraction(text)
    except MeasureError:
        return
    assert parse_refraction(write_refraction(refraction)) == refraction
