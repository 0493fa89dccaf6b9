"""The number for an ambulance: against a second published list, and never a guess."""

from datetime import date

import pytest

from rehab.care.emergency import EMERGENCY_NUMBER, emergency_number
from rehab.rules.protocol import Protocol
from rehab.rules.table import ASSUMPTION, Outcome
from rehab.table_files import read_protocol

TODAY = date(2026, 11, 25)
EUROPEAN_UNION = (
    "AT BE BG CY CZ DE DK EE ES FI FR GR HR HU IE IT LT LU LV MT NL PL PT RO SE SI SK"
)  # fmt: skip
# The numbers that dispatch an ambulance in Android Open Source Project, packages/services/
# Telephony, ecc/input/eccdata.txt, revision 2 (read): telephones place emergency calls by it.
TELEPHONES = dict.fromkeys(EUROPEAN_UNION.split(), "112") | {
    "AU": "000", "BD": "999", "BR": "192", "CA": "911", "CL": "131", "CO": "123", "EC": "911",
    "EG": "123", "GB": "999", "GH": "193", "IN": "112", "JO": "911", "LK": "110", "MX": "911",
    "NP": "102", "NZ": "111", "SA": "997", "SN": "15", "US": "911",
}  # fmt: skip
# Where that list is older than what the country's own government says in the row's source.
SINCE_CHANGED = {"GH": "112", "LK": "1990", "SN": "1515"}


@pytest.fixture(scope="module")
def protocol() -> Protocol:
    return read_protocol()


def told_countries(protocol: Protocol) -> set[str]:
    rows = protocol.edition(EMERGENCY_NUMBER, TODAY).table.rows
    return {
        word
        for row in rows
        if row.outcome is Outcome.THEN
        for _, condition in row.when
        for word in condition.words
    }


def test_each_number_is_the_one_that_telephones_dial_there(protocol: Protocol) -> None:
    assert told_countries(protocol) == TELEPHONES.keys()
    for country, dialled in TELEPHONES.items():
        number = emergency_number("", country, protocol, TODAY).number
        assert number == SINCE_CHANGED.get(country, dialled), country


def test_the_clinic_s_own_number_always_wins(protocol: Protocol) -> None:
    for country in ("GB", "KE", ""):
        found = emergency_number(" +999 555 0102 ", country, protocol, TODAY)
        assert (found.number, found.because, found.why) == ("+999 555 0102", None, "")


def test_a_number_carries_the_row_and_the_source_that_gave_it(protocol: Protocol) -> None:
    because = emergency_number("", "AU", protocol, TODAY).because
    assert because
    assert (because.row, because.seen) == ("australia", True)
    assert because.citation == "Calling triple zero (000). Healthdirect Australia."


# KE, NG, ZA, PK, MZ, MA, PE, AR: sources differ, by region or kind of telephone. NO, CH, TZ and
# UK, which is no code: nothing was read.
@pytest.mark.parametrize(
    "country",
    ["", "KE", "NG", "ZA", "PK", "MZ", "MA", "PE", "AR", "NO", "CH", "TZ", "UK", "ZZ", "gb"],
)
def test_where_none_is_sure_nothing_is_printed_and_the_clinic_is_told(
    protocol: Protocol, country: str
) -> None:
    found = emergency_number("  ", country, protocol, TODAY)
    assert found.number == ""
    assert found.why.startswith("Set emergency_phone")
    assert "in the clinic file" in found.why
    assert found.because


def test_no_number_rests_on_memory_or_on_an_assumption(protocol: Protocol) -> None:
    table = protocol.edition(EMERGENCY_NUMBER, TODAY).table
    for row in table.rows:
        if row.outcome is Outcome.THEN:
            assert row.source != ASSUMPTION
            assert table.source(row.source).seen, row.id
