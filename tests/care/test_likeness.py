"""Children who may be one child: found by day of birth, name and phone, and quickly.

How alike two names must be is our own assumption: common practice, no source.
"""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rehab.care.case import Child
from rehab.care.likeness import Likenesses, alike, plain_name

BORN = date(2026, 1, 5)


def child(number: str, name: str, born: date = BORN, phone: str = "", family: str = "") -> Child:
    return Child(number, name, born, phone=phone, family=family)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("Ömer Acar", "ACAR, Omer"),
        ("Zoë N'Dour", "Zoe Ndour"),
        ("Gulnara Asanova", "Gulnaara Asanova"),
        ("Anna-Lena Oro", "Anna Lena Oro"),
        ("Йусуф Али", "Иусуф Али"),
    ],
)
def test_a_name_written_twice_is_recognised(one: str, other: str) -> None:
    assert alike(plain_name(one), plain_name(other))


@pytest.mark.parametrize(
    ("one", "other"), [("Elif Acar", "Ömer Acar"), ("Badu Oro", "Cela Ndi"), ("An Li", "Bo Li")]
)
def test_another_name_is_not(one: str, other: str) -> None:
    assert not alike(plain_name(one), plain_name(other))


def test_only_children_born_on_the_same_day_are_like_each_other() -> None:
    seen = Likenesses()
    seen.add(child("K-1", "Badu Oro"))
    assert seen.like(child("K-2", "Oro Badu")) == (("K-1", "a like name"),)
    assert seen.like(child("K-2", "Oro Badu", date(2026, 1, 6))) == ()
    assert seen.like(child("K-1", "Badu Oro")) == ()


def test_the_same_phone_counts_unless_both_name_the_same_family() -> None:
    seen = Likenesses()
    seen.add(child("K-1", "Badu Oro", family="oro"), "+00 (555) 0141")
    assert seen.like(child("K-2", "Cela Oro", phone="00 555-0141")) == (("K-1", "the same phone"),)
    assert seen.like(child("K-2", "Cela Oro", phone="00 555-0141", family="oro")) == ()
    assert seen.like(child("K-2", "Cela Oro", phone="555 0142")) == ()


NAMES = st.text(alphabet="abcdefg é", min_size=1, max_size=12)


@given(st.lists(NAMES, max_size=8), NAMES)
def test_looking_quickly_finds_all_that_comparing_each_would_find(
    names: list[str], name: str
) -> None:
    seen = Likenesses()
    for n, other in enumerate(names):
        seen.add(child(f"K-{n}", other))
    found = {number for number, _ in seen.like(child("new", name))}
    plain = plain_name(name)
    assert found == {f"K-{n}" for n, o in enumerate(names) if alike(plain, plain_name(o))}
