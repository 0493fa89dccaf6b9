"""What counts as a change of an event on a calendar server, and how it is said."""

from datetime import date

import pytest
import vobject

from rehab.held_events import cancelled, day_of, differences, digest_of, is_cancelled

EVENT = """BEGIN:VCALENDAR
VERSION:2.0
PRODID:-//Test//EN
BEGIN:VEVENT
UID:one@rehab
DTSTAMP:20260101T000000Z
DTSTART:20260504T083000Z
DTEND:20260504T090000Z
SEQUENCE:2
SUMMARY:K-017: refraction\\, review
DESCRIPTION:refraction (right eye)\\nreview (right eye)
STATUS:CONFIRMED
END:VEVENT
END:VCALENDAR
""".replace("\n", "\r\n")


def changed(old: str, new: str) -> str:
    assert old in EVENT
    return EVENT.replace(old, new)


@pytest.mark.parametrize(
    "same",
    [
        EVENT.replace("\r\n", "\n"),
        changed("PRODID:-//Test//EN", "PRODID:-//Another//EN"),
        changed("DTSTAMP:20260101T000000Z", "DTSTAMP:20260301T000000Z"),
        changed("SEQUENCE:2", "SEQUENCE:5\r\nLAST-MODIFIED:20260301T000000Z\r\nX-SEEN:1"),
        changed("STATUS:CONFIRMED\r\n", "").replace("SUMMARY", "STATUS:CONFIRMED\r\nSUMMARY"),
        changed("SUMMARY:K-017: refr", "SUMMARY:K-017: re\r\n fr"),
        changed("DTSTART:20260504T083000Z", "DTSTART;TZID=Europe/London:20260504T093000"),
        changed("STATUS:CONFIRMED", "STATUS:CONFIRMED\r\nTRANSP:OPAQUE\r\nCLASS:PUBLIC"),
    ],
)
def test_what_programs_write_anew_by_themselves_is_no_change(same: str) -> None:
    assert digest_of(same) == digest_of(EVENT)


@pytest.mark.parametrize(
    ("other", "said"),
    [
        (
            changed("DTSTART:20260504T083000Z", "DTSTART:20260504T080000Z"),
            "begins 2026-05-04 09:00, here 2026-05-04 09:30",
        ),
        (
            changed("DTSTART:20260504T083000Z", "DTSTART;VALUE=DATE:20260505"),
            "begins 2026-05-05, here 2026-05-04 09:30",
        ),
        (
            changed("DTEND:20260504T090000Z\r\n", ""),
            "ends nothing, here 2026-05-04 10:00",
        ),
        (
            changed("SUMMARY:K-017", "SUMMARY:ring"),
            'title "ring: refraction, review", here "K-017: refraction, review"',
        ),
        (changed("CONFIRMED", "TENTATIVE"), 'status "TENTATIVE", here "CONFIRMED"'),
        (
            changed("STATUS", "LOCATION:Room\\, 3\r\nSTATUS"),
            'place "Room, 3", here nothing',
        ),
        (
            changed("DESCRIPTION:", "DESCRIPTION:bring both parents "),
            'text "bring both parents refraction (right eye) review (right eye)", '
            'here "refraction (right eye) review (right eye)"',
        ),
        (changed("STATUS", "COMMENT:late\r\nSTATUS"), "something was added to it"),
        ("BEGIN:VCALENDAR\r\nEND:VCALENDAR\r\n", "it is no longer one event"),
        ("not a calendar", "it is no longer one event"),
        ("", "it is no longer one event"),
    ],
)
def test_what_a_person_changed_is_a_change_and_is_said(other: str, said: str) -> None:
    assert digest_of(other) != digest_of(EVENT)
    assert differences(EVENT.encode(), other, "Europe/London") == said


def test_a_day_is_that_of_the_clinics_clocks() -> None:
    late = changed("DTSTART:20260504T083000Z", "DTSTART:20260504T220000Z")
    assert day_of(late, "UTC") == date(2026, 5, 4)
    assert day_of(late, "Pacific/Auckland") == date(2026, 5, 5)
    assert day_of(changed("DTSTART:20260504T083000Z", "DTSTART;VALUE=DATE:20260505"), "UTC") == (
        date(2026, 5, 5)
    )
    assert day_of("not a calendar", "UTC") is None


def test_a_cancelled_event_is_the_same_event_and_outranks_it() -> None:
    event = vobject.readOne(cancelled(EVENT).decode()).vevent
    assert (event.uid.value, event.sequence.value) == ("one@rehab", "3")
    assert event.summary.value == "K-017: refraction, review"
    assert event.status.value == "CANCELLED"
    assert is_cancelled(cancelled(EVENT).decode())
    assert not is_cancelled(EVENT)
    assert digest_of(cancelled(EVENT)) == digest_of(changed("CONFIRMED", "CANCELLED"))
