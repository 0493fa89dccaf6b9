"""Editions by date, answers that keep their reason, and what the rows of a decision rest on."""

from dataclasses import replace
from datetime import date

import pytest

from rehab.errors import TableError
from rehab.rules.domain import Condition, Domain
from rehab.rules.proof import ProvenTable, prove
from rehab.rules.protocol import Because, Provenance, protocol_of, provenance
from rehab.rules.table import Outcome
from tests.rules.small_tables import row, table

DAYS = {"days": Domain(0, 100)}


def edition(year: int, weeks: int, decision: str = "small") -> ProvenTable:
    written = table(DAYS, row(weeks, {}))
    return prove(replace(written, decision=decision, effective=date(year, 1, 1)))


PROTOCOL = protocol_of([edition(2022, 3), edition(2020, 1), edition(2021, 2)])


@pytest.mark.parametrize(
    ("on", "weeks"),
    [
        (date(2020, 1, 1), 1),
        (date(2020, 12, 31), 1),
        (date(2021, 1, 1), 2),
        (date(2021, 12, 31), 2),
        (date(2022, 1, 1), 3),
        (date(2090, 1, 1), 3),
    ],
)
def test_the_edition_in_force_on_the_day_answers(on: date, weeks: int) -> None:
    assert PROTOCOL.ask("small", on, {"days": 5}).number("weeks") == weeks


def test_before_the_first_edition_the_protocol_refuses() -> None:
    with pytest.raises(TableError) as caught:
        PROTOCOL.ask("small", date(2019, 12, 31), {"days": 5})
    assert str(caught.value) == (
        "small: no edition is in force on 2019-12-31; the first holds from 2020-01-01."
    )


def test_a_decision_that_the_protocol_does_not_have_is_refused_with_those_it_has() -> None:
    with pytest.raises(TableError) as caught:
        protocol_of([edition(2020, 1), edition(2020, 1, "other")]).edition("big", date(2021, 1, 1))
    assert str(caught.value) == "big is not a decision of this protocol. It has: other, small."


def test_two_editions_from_the_same_day_are_refused() -> None:
    with pytest.raises(TableError) as caught:
        protocol_of([edition(2020, 1), edition(2020, 2)])
    assert str(caught.value) == (
        "small: two editions hold from 2020-01-01. Give the newer one a later effective date."
    )


def test_an_answer_keeps_the_row_the_edition_and_the_facts_that_it_used() -> None:
    answer = PROTOCOL.ask("small", date(2021, 6, 1), {"days": 5, "not asked": 7})
    assert answer.because == Because(
        decision="small",
        edition=date(2021, 1, 1),
        row="row-2",
        source="study",
        at="page 2",
        citation="A study.",
        seen=True,
        digest="000000000000",
        facts=(("days", 5),),
    )


def test_an_answer_gives_a_number_only_where_the_row_says_one() -> None:
    written = table({}, replace(row(1, {}), then=(("weeks", "soon"),)))
    worded = replace(written, outputs=(("weeks", Domain(None, None, ("soon",))),))
    answer = protocol_of([prove(worded)]).ask("small", date(2020, 1, 1), {})
    assert answer.word("weeks") == "soon"
    with pytest.raises(TypeError, match="weeks is 'soon', a word where a number was expected"):
        answer.number("weeks")


def test_a_referral_answers_with_its_reason() -> None:
    referred = protocol_of([prove(table({}, row(1, {}, Outcome.REFER)))])
    answer = referred.ask("small", date(2020, 1, 1), {})
    assert (answer.outcome, answer.why, answer.then) == (Outcome.REFER, "reason 1", {})


def test_each_row_is_counted_once_by_what_it_rests_on() -> None:
    spans = [{"days": Condition(n, n + 1)} for n in range(5)] + [{"days": Condition(5, 100)}]
    newest = table(
        DAYS,
        row(1, spans[0]),
        row(2, spans[1]),
        row(3, spans[2], source="textbook"),
        row(4, spans[3], source="assumption"),
        row(5, spans[4], Outcome.NOTHING, source="assumption"),
        row(6, spans[5], Outcome.REFER, source="study"),
    )
    proven = prove(replace(newest, effective=date(2023, 1, 1)))
    assert provenance(protocol_of([edition(2020, 1), proven])) == (
        Provenance("small", seen=2, from_memory=1, assumption=2, refer=1),
    )
