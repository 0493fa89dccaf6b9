"""`rehab appointment` with a diary: an hour, a length, and room that is counted."""

from dataclasses import replace

import pytest

from tests.conftest import Clinic
from tests.diaries import HARBOUR, MONDAYS, THEATRE, keep_diary

pytestmark = pytest.mark.both_databases

UNTOLD = "The family stays on the recall list until it is told (--told, or contact log)."
BOOKED = f"Recorded K-017/A{{}}: {{}}, session {{}}.\n{UNTOLD}\n"


@pytest.fixture
def keeps_a_diary(asel: Clinic) -> Clinic:
    keep_diary(asel.home, HARBOUR, MONDAYS, THEATRE)
    return asel


def test_a_visit_gets_the_first_free_hour_and_the_minutes_its_checks_take(
    keeps_a_diary: Clinic,
) -> None:
    clinic = keeps_a_diary
    clinic.say("child add K-2 --name Bo --born 2026-02-01")
    said = clinic.say("appointment book K-017 2026-04-20")
    assert said == BOOKED.format(1, "Monday 2026-04-20 at 09:00, 30 minutes", "mondays/2026-04-20")
    # The capacity is 60 minutes laid along two hours: what takes 30 is over at ten.
    said = clinic.say("appointment book K-2 2026-04-20 --minutes 15")
    assert "at 10:00, 15 minutes" in said


def test_where_no_room_is_left_the_next_sessions_with_room_are_named(
    keeps_a_diary: Clinic,
) -> None:
    clinic = keeps_a_diary
    clinic.say("child add K-2 --name Bo --born 2026-02-01")
    clinic.say("appointment book K-017 2026-04-20")
    assert clinic.refuse("appointment book K-2 2026-04-20 --minutes 40") == (
        "K-2: mondays/2026-04-20 has 30 minutes left, and this visit takes 40. Room is in "
        "mondays/2026-04-27, mondays/2026-05-04, mondays/2026-05-11; or give --overbook if a "
        "person has decided that."
    )
    said = clinic.say("appointment book K-2 2026-04-20 --minutes 40 --overbook")
    assert said.splitlines()[1:] == [
        "It is overbooked: there was no room for it.",
        "Mind: No check falls due on this day; what is due stays to be booked.",
        UNTOLD,
    ]


def test_a_day_without_a_session_and_an_anaesthesia_list_take_nobody_by_chance(
    keeps_a_diary: Clinic,
) -> None:
    said = keeps_a_diary.refuse("appointment book K-017 2026-04-22")
    assert said.startswith("K-017: no session is held on Wednesday 2026-04-22. Room is in mondays")
    said = keeps_a_diary.refuse("appointment book K-017 2026-04-21")
    assert said.startswith("K-017: theatre/2026-04-21 does not offer what is due then (")
    said = keeps_a_diary.refuse("appointment book K-017 2026-04-20 --session tuesdays")
    assert said == (
        "diary: no session has the code 'tuesdays' (known: mondays, theatre). "
        "See them with: rehab diary show"
    )


def test_a_moved_visit_leaves_its_room_and_keeps_its_history(keeps_a_diary: Clinic) -> None:
    clinic = keeps_a_diary
    clinic.say("appointment book K-017 2026-04-20 --minutes 60")
    said = clinic.say("appointment move K-017 2026-04-20 2026-04-27 --at 10:00 --minutes 60")
    assert said == BOOKED.format(1, "Monday 2026-04-27 at 10:00, 60 minutes", "mondays/2026-04-27")
    assert [(v.version, v.stamp.reason) for v in clinic.history("K-017")][-2:] == [
        (1, ""),
        (2, "moved from 2026-04-20 to 2026-04-27"),
    ]
    clinic.say("child add K-2 --name Bo --born 2026-02-01")
    clinic.say("appointment book K-2 2026-04-20 --minutes 60")
    # Moved to another hour of its own session it does not stand in its own way.
    clinic.say("appointment move K-017 2026-04-27 2026-04-27 --at 09:30 --minutes 60")
    assert clinic.refuse("appointment move K-017 2026-05-04 2026-05-11") == (
        "K-017: no appointment is booked on 2026-05-04. "
        "See what is booked with: rehab child show K-017"
    )


@pytest.mark.parametrize(
    ("option", "said"),
    [
        ("--at 14:00", "the session lasts from 09:00 to 11:00, so that 14:00 is outside it."),
        ("--minutes 0", "a visit cannot take 0 minutes."),
        ("--minutes 99999999999999999999", "a visit cannot take 99999999999999999999 minutes."),
    ],
)
def test_an_hour_outside_the_session_and_no_minutes_are_refused(
    keeps_a_diary: Clinic, option: str, said: str
) -> None:
    assert said in keeps_a_diary.refuse(f"appointment book K-017 2026-04-20 {option}")


@pytest.mark.parametrize("hour", ["9", "24:00", "9:75", "nine", "-1:00"])
def test_what_is_no_hour_is_refused(keeps_a_diary: Clinic, hour: str) -> None:
    said = keeps_a_diary.misuse(f"appointment book K-017 2026-04-20 --at={hour}")
    assert hour in said


def test_a_session_without_capacity_takes_nobody(asel: Clinic) -> None:
    keep_diary(asel.home, HARBOUR, replace(MONDAYS, code="none", capacity_minutes=0))
    assert asel.refuse("appointment book K-017 2026-04-20 --minutes 5") == (
        "K-017: none/2026-04-20 has 0 minutes left, and this visit takes 5. Add a session, or "
        "give --overbook if a person has decided that."
    )
    assert "overbooked" in asel.say("appointment book K-017 2026-04-20 --overbook")


def test_what_the_family_has_stated_is_said_when_a_person_books_against_it(
    keeps_a_diary: Clinic,
) -> None:
    keeps_a_diary.say("contact limits K-017 --weekday Thursday")
    said = keeps_a_diary.say("appointment book K-017 2026-04-27")
    assert said.splitlines()[1:] == [
        "Mind: The family has stated that this does not suit it: its weekday.",
        UNTOLD,
    ]


def test_a_child_who_also_needs_sleep_can_be_booked_into_the_clinic_for_the_rest(
    keeps_a_diary: Clinic,
) -> None:
    """An examination under anaesthesia waits for its own list, whose other checks it brings."""
    clinic = keeps_a_diary
    clinic.say("child add K-3 --name Bo --born 2025-01-11")
    clinic.say(
        'surgery add K-3 --eye right --on 2025-03-30 --procedure "lens removal" --sutures none'
    )
    said = clinic.say("appointment book K-3 2026-04-21")
    assert "session theatre/2026-04-21" in said
    said = clinic.say("appointment book K-3 2026-04-20 --minutes 20")
    assert "session mondays/2026-04-20" in said


def test_nothing_is_booked_or_moved_after_care_has_ended(keeps_a_diary: Clinic) -> None:
    clinic = keeps_a_diary
    clinic.say("appointment book K-017 2026-04-20 --minutes 5")
    clinic.say("child end K-017 died --on 2026-04-20")
    for line in ("book K-017 2026-04-27", "move K-017 2026-04-20 2026-04-27 --overbook"):
        assert clinic.refuse(f"appointment {line}") == (
            "K-017: care here ended on 2026-04-20 (died), so nothing can be booked after it. If it "
            "did not end, withdraw that record first; see: rehab child show K-017"
        )


def test_who_books_a_child_apart_from_its_twin_is_told(keeps_a_diary: Clinic) -> None:
    clinic = keeps_a_diary
    clinic.say("child change K-017 --family temir --why twins")
    clinic.say("child add K-018 --name Aida --born 2026-02-11 --family temir")
    clinic.say("appointment book K-017 2026-04-20")
    apart = "Mind: K-017 of the same family is booked on 2026-04-20, not on this day."
    assert apart in clinic.say("appointment book K-018 2026-04-27 --minutes 5").splitlines()
    moved = clinic.say("appointment move K-018 2026-04-27 2026-04-20 --minutes 5")
    assert "same family" not in moved
    assert "home language en; family temir" in clinic.say("recall list")


def test_no_visit_is_moved_into_the_past(keeps_a_diary: Clinic) -> None:
    keeps_a_diary.say("appointment book K-017 2026-04-27")
    assert keeps_a_diary.refuse("appointment move K-017 2026-04-27 2025-04-27") == (
        "K-017: 2025-04-27 is past (today is 2026-04-20). "
        "Check the date; what became of a past visit is recorded as its outcome."
    )


def test_a_child_whose_session_no_longer_offers_its_checks_comes_on_the_list(
    keeps_a_diary: Clinic,
) -> None:
    clinic = keeps_a_diary
    clinic.say('appointment book K-017 2026-04-27 --told "phone call"')
    assert "does not offer" not in clinic.say("recall list")
    clinic.say('diary session change mondays --kind contact_lens_review --why "the lens fitter"')
    listed = " ".join(clinic.say("recall list").split())
    assert "the session booked on 2026-04-27 does not offer " in listed, listed
