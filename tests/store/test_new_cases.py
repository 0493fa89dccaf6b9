"""Many new children at once: the same rows as one by one, and none of what must not be."""

from dataclasses import replace
from datetime import date

import pytest

from rehab.care.case import (
    Appointment,
    Case,
    Child,
    Examination,
    Eye,
    Prescription,
    Procedure,
    Surgery,
    Sutures,
)
from rehab.care.contacts import Consent, Contact, Limits
from rehab.care.sharing import Sharing
from rehab.errors import RecordError
from rehab.store.new_cases import add_new_cases, numbers_ever_used
from rehab.store.store import Stamp, Store
from rehab.workflow import register_within

TODAY = date(2026, 4, 20)
BORN = date(2026, 1, 5)
REMOVAL = Procedure.LENS_REMOVAL


def case_of_number(number: str) -> Case:
    return Case(
        Child(number, "Badu Oro", BORN, 37, "sw", "+00 555 0117", "oro"),
        surgeries=(
            Surgery("", Eye.RIGHT, date(2026, 2, 16), REMOVAL, Sutures.ABSORBABLE),
            Surgery("", Eye.LEFT, date(2026, 2, 23), REMOVAL),
        ),
        appointments=(Appointment("", date(2026, 5, 4)),),
        contacts=(Contact("", "Ama Oro", "mother", text_consent=Consent.YES),),
        limits=Limits("", (0, 3), 600, 40),
    )


def test_children_written_at_once_are_the_same_as_one_by_one(store: Store, stamp: Stamp) -> None:
    with store.transaction() as tx:
        add_new_cases(tx, [(case_of_number("K-1"), stamp), (Case(Child("K-2", "B", BORN)), stamp)])
        register_within(tx, case_of_number("K-3"), today=TODAY, stamp=stamp)
        register_within(tx, Case(Child("K-4", "B", BORN)), today=TODAY, stamp=stamp)
        revisions = tx.revisions(["K-1", "K-2", "K-3", "K-4"])
    at_once = repr(store.history("K-1") + store.history("K-2"))
    one_by_one = repr(store.history("K-3") + store.history("K-4"))
    assert at_once == one_by_one.replace("K-3", "K-1").replace("K-4", "K-2")
    assert repr(store.case("K-1")) == repr(store.case("K-3")).replace("K-3", "K-1")
    assert (revisions["K-1"], revisions["K-2"]) == (revisions["K-3"], revisions["K-4"])


def test_a_number_that_was_ever_used_is_never_used_again(store: Store, stamp: Stamp) -> None:
    with store.transaction() as tx:
        add_new_cases(tx, [(case_of_number("K-1"), stamp)])
        tx.withdraw("K-1", stamp, 1)
    assert numbers_ever_used(store) == {"K-1"}
    assert store.children() == ()
    told = [(case_of_number("K-2"), stamp), (case_of_number("K-1"), stamp)]
    words = "K-1: a child with this number is already recorded, or"
    with pytest.raises(RecordError, match=words), store.transaction() as tx:
        add_new_cases(tx, told)
    assert numbers_ever_used(store) == {"K-1"}


def test_what_cannot_be_written_at_once_is_refused_whole(store: Store, stamp: Stamp) -> None:
    whole = case_of_number("K-2")
    twice = replace(whole, surgeries=(whole.surgeries[0], whole.surgeries[0]))
    agreed = replace(whole, sharing=Sharing("", TODAY, (), "Ama Oro"))
    drops = Prescription("", TODAY, TODAY, "drops", "Dr H")
    prescribed = replace(whole, prescriptions=(drops,))
    examined = replace(whole, examinations=(Examination("", TODAY, note="seen"),))
    wrong = (
        ([twice], "K-2: one fact is told twice"),
        ([examined], "K-2: this case holds more than can be written at once"),
        ([agreed], "K-2: this case holds more than can be written at once"),
        ([prescribed], "K-2: this case holds more than can be written at once"),
        ([whole, whole], "one number is given to two children"),
    )
    for cases, words in wrong:
        with pytest.raises(RecordError, match=words), store.transaction() as tx:
            add_new_cases(tx, [(case, stamp) for case in (case_of_number("K-1"), *cases)])
        assert numbers_ever_used(store) == set()
