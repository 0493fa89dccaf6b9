"""Ages as people say them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rehab.errors import MeasureError
from rehab.measures.age_text import Age, parse_age


@pytest.mark.parametrize(
    ("text", "age"),
    [
        ("7y", Age(84, 2556)),
        ("7.5 years", Age(90, 2739)),
        ("9 months", Age(9, 273)),
        ("11.9 months", Age(11, 362)),
        ("1,0 yr", Age(12, 365)),
        ("5w", Age(1, 35)),
        ("10 weeks old", Age(2, 70)),
        ("35 days", Age(1, 35)),
        ("0 d", Age(0, 0)),
        ("17.99 y", Age(215, 6570)),
    ],
)
def test_an_age_is_read_in_months_and_days(text: str, age: Age) -> None:
    assert parse_age(text) == age


@pytest.mark.parametrize("text", ["", "7", "seven years", "-3 months", "7y 3m", "7 q"])
def test_what_is_no_age_is_refused_with_examples(text: str) -> None:
    with pytest.raises(MeasureError) as refused:
        parse_age(text)
    assert str(refused.value) == (
        f'age: "{text}" is no age with its unit. '
        'Write for example "7y", "9 months", "5w" or "35 days".'
    )


@pytest.mark.parametrize("text", ["18y", "216 months", "6575 days", "940 weeks"])
def test_an_age_beyond_childhood_is_refused(text: str) -> None:
    with pytest.raises(MeasureError, match=f'"{text}" is not below 18 years'):
        parse_age(text)


@given(st.integers(0, 215), st.integers(0, 6570))
def test_a_unit_keeps_its_own_whole_count(months: int, days: int) -> None:
    assert parse_age(f"{months} months").months == months
    assert parse_age(f"{days} days").days == days


@given(st.integers(0, 6569))
def test_a_day_older_is_never_younger_in_months(days: int) -> None:
    assert parse_age(f"{days}d").months <= parse_age(f"{days + 1}d").months


@given(st.text() | st.text("0123456789.,ymwd ", max_size=12))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        age = parse_age(text)
    except MeasureError:
        return
    assert 0 <= age.months < 216
    assert 0 <= age.days < 6575
