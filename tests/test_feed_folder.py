"""A folder of families' calendars: names nobody can guess, and nothing stale in it."""

import csv
import hashlib
import os
from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
import vobject

from rehab.care.case import Appointment, Child, Ending, EndingKind
from rehab.errors import RecordError, RehabError, SettingsError
from rehab.feed_folder import Fed, feed, feed_address, feed_name, webcal
from rehab.settings import read_feed_secret, read_settings
from rehab.store.store import Stamp
from rehab.workflow import Desk, open_desk
from tests.conftest import CLINIC_TOML, Clinic

TODAY = date(2026, 4, 20)
SECRET = "brass lantern, ninety-one geese"
STAMP = Stamp("M. Okoro", datetime(2026, 4, 20, 8, tzinfo=UTC), "asked for")
ASEL = feed_name(SECRET, "K-017")


@pytest.fixture
def desk(asel: Clinic) -> Iterator[Desk]:
    with_secret = f'{CLINIC_TOML}feed_secret = "{SECRET}"\n'
    (asel.home / "clinic.toml").write_text(with_secret, encoding="utf-8")
    opened = open_desk(read_settings(asel.home))
    with opened.store.transaction() as tx:
        tx.add("K-018", Child("K-018", "Brannoc Q", date(2026, 1, 5)), STAMP)
    yield opened
    opened.store.close()


def events(path: Path) -> list[str]:
    return [e.status.value for e in vobject.readOne(path.read_text()).contents.get("vevent", ())]


def test_a_name_is_the_keyed_hash_of_the_childs_number() -> None:
    """RFC 2104, worked out anew from its definition: H(K ^ opad, H(K ^ ipad, text))."""
    key = SECRET.encode().ljust(64, b"\0")
    inner = hashlib.sha256(bytes(b ^ 0x36 for b in key) + b"feed\nK-017").digest()
    outer = hashlib.sha256(bytes(b ^ 0x5C for b in key) + inner).hexdigest()
    assert feed_name(SECRET, "K-017") == f"{outer[:40]}.ics"


def test_another_child_or_another_secret_has_another_name() -> None:
    numbers = [f"K-{n:03}" for n in range(500)]
    names = {feed_name(secret, n) for secret in (SECRET, SECRET + "!") for n in numbers}
    assert len(names) == 1000


def test_each_child_has_one_calendar_and_the_index_lies_elsewhere(
    desk: Desk, tmp_path: Path
) -> None:
    folder, index = tmp_path / "feeds", tmp_path / "feeds.csv"
    assert feed(desk, folder, today=TODAY, index=index) == Fed(2, 2, 0)
    rows = list(csv.DictReader(index.read_text("utf-8-sig").splitlines()))
    assert [row["child"] for row in rows] == ["K-017", "K-018"]
    assert sorted(row["file"] for row in rows) == sorted(p.name for p in folder.iterdir())
    assert events(folder / ASEL)
    assert "Asel" not in (folder / ASEL).read_text()


def test_only_what_changed_is_written(desk: Desk, tmp_path: Path) -> None:
    feed(desk, tmp_path / "feeds", today=TODAY)
    for path in (tmp_path / "feeds").iterdir():
        os.utime(path, (1, 1))
    assert feed(desk, tmp_path / "feeds", today=TODAY) == Fed(2, 0, 0)
    with desk.store.transaction() as tx:
        tx.add("K-017", Appointment("", date(2026, 5, 4)), STAMP)
    assert feed(desk, tmp_path / "feeds", today=TODAY) == Fed(2, 1, 0)
    changed = [p.name for p in (tmp_path / "feeds").iterdir() if p.stat().st_mtime > 1]
    assert changed == [ASEL]


def test_when_care_has_ended_the_calendar_takes_its_events_back(desk: Desk, tmp_path: Path) -> None:
    feed(desk, tmp_path / "feeds", today=TODAY)
    with desk.store.transaction() as tx:
        tx.add("K-017", Ending(EndingKind.DIED, TODAY), STAMP)
    assert feed(desk, tmp_path / "feeds", today=TODAY) == Fed(2, 1, 0)
    assert set(events(tmp_path / "feeds" / ASEL)) == {"CANCELLED"}


def test_a_child_whose_care_had_ended_before_gets_no_calendar(desk: Desk, tmp_path: Path) -> None:
    with desk.store.transaction() as tx:
        tx.add("K-017", Ending(EndingKind.MOVED, TODAY), STAMP)
    assert feed(desk, tmp_path / "feeds", today=TODAY) == Fed(1, 1, 0)
    assert not (tmp_path / "feeds" / ASEL).exists()


def test_the_calendar_of_a_child_entered_in_error_is_emptied(desk: Desk, tmp_path: Path) -> None:
    feed(desk, tmp_path / "feeds", today=TODAY)
    with desk.store.transaction() as tx:
        tx.withdraw("K-017", STAMP, 1)
    assert feed(desk, tmp_path / "feeds", today=TODAY) == Fed(1, 0, 1)
    assert events(tmp_path / "feeds" / ASEL) == []
    assert feed(desk, tmp_path / "feeds", today=TODAY) == Fed(1, 0, 0)


def test_a_new_secret_empties_the_calendars_under_their_old_names(
    desk: Desk, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    feed(desk, tmp_path / "feeds", today=TODAY)
    monkeypatch.setenv("REHAB_FEED_SECRET", "copper lantern, twelve herons")
    assert feed(desk, tmp_path / "feeds", today=TODAY) == Fed(2, 2, 2)
    assert events(tmp_path / "feeds" / ASEL) == []


def test_files_of_others_in_the_folder_are_left_alone(desk: Desk, tmp_path: Path) -> None:
    folder = tmp_path / "feeds"
    folder.mkdir()
    theirs = {f"{'a' * 40}.ics": "BEGIN:VCALENDAR\nPRODID:other\n", "holidays.ics": "x", "a": "y"}
    for name, content in theirs.items():
        (folder / name).write_text(content)
    feed(desk, folder, today=TODAY)
    assert {name: (folder / name).read_text() for name in theirs} == theirs


def test_one_child_alone_can_be_brought_up_to_date(desk: Desk, tmp_path: Path) -> None:
    folder = tmp_path / "feeds"
    assert feed(desk, folder, today=TODAY, only="K-017") == Fed(1, 1, 0)
    assert [path.name for path in folder.iterdir()] == [ASEL]
    with pytest.raises(RecordError, match="nothing is recorded as K-099"):
        feed(desk, folder, today=TODAY, only="K-099")


@pytest.mark.parametrize("place", ["feeds/index.csv", "feeds/inside/index.csv", "feeds/../feeds/i"])
def test_the_index_is_never_put_where_it_would_be_served(
    desk: Desk, tmp_path: Path, place: str
) -> None:
    with pytest.raises(RehabError, match="the index would lie in the folder that is served"):
        feed(desk, tmp_path / "feeds", today=TODAY, index=tmp_path / place)
    assert not (tmp_path / "feeds").exists()


def test_without_a_secret_nothing_is_fed_and_it_is_said_what_to_do(asel: Clinic) -> None:
    with pytest.raises(SettingsError) as refused:
        read_feed_secret(read_settings(asel.home), {})
    assert str(refused.value) == (
        f"{asel.home / 'clinic.toml'}: without a secret the address of a family's calendar could "
        'be guessed. Write feed_secret = "..." there, with 20 or more characters drawn by chance, '
        "and keep it: with another one, families must subscribe anew."
    )
    assert asel.refuse("calendar feed --out feeds").startswith(str(asel.home))


def test_a_secret_that_is_too_short_is_refused(asel: Clinic) -> None:
    settings = read_settings(asel.home)
    with pytest.raises(SettingsError):
        read_feed_secret(settings, {"REHAB_FEED_SECRET": "short"})
    assert read_feed_secret(settings, {"REHAB_FEED_SECRET": SECRET}) == SECRET
    (asel.home / "clinic.toml").write_text('name = "Eyes"\nfeed_secret = "short"\n')
    with pytest.raises(SettingsError, match="feed_secret needs 20 or more characters"):
        read_settings(asel.home)


def test_the_secret_is_not_shown_with_the_settings(desk: Desk) -> None:
    assert SECRET not in repr(desk.settings)


def test_a_family_s_address_is_the_served_folder_s_and_the_name_of_its_file(asel: Clinic) -> None:
    """RFC 3986: the same address but for its scheme; that phones take webcal for a calendar to
    subscribe to is common practice, from memory."""
    for folder in ("https://calendars.example.org/eyes", "https://calendars.example.org/eyes/"):
        lines = f'feed_secret = "{SECRET}"\nfeed_address = "{folder}"\n'
        (asel.home / "clinic.toml").write_text(CLINIC_TOML + lines, encoding="utf-8")
        address = feed_address(read_settings(asel.home), "K-017")
        assert address == f"https://calendars.example.org/eyes/{ASEL}"
        assert webcal(address) == f"webcal://calendars.example.org/eyes/{ASEL}"


def test_a_clinic_that_serves_no_calendars_has_no_address_and_needs_no_secret(asel: Clinic) -> None:
    address = feed_address(read_settings(asel.home), "K-017")
    assert (address, webcal(address)) == ("", "")


def test_an_address_without_a_secret_is_refused_before_it_is_printed(asel: Clinic) -> None:
    (asel.home / "clinic.toml").write_text(
        CLINIC_TOML + 'feed_address = "https://calendars.example.org"\n', encoding="utf-8"
    )
    with pytest.raises(SettingsError, match="without a secret the address of a family's calendar"):
        feed_address(read_settings(asel.home), "K-017")


def test_the_command_counts_what_it_did(desk: Desk, tmp_path: Path) -> None:
    clinic = Clinic(desk.settings.home)
    command = f"calendar feed --out {tmp_path / 'feeds'}"
    assert clinic.say(command) == "2 calendars: 2 written.\n"
    assert clinic.say(command) == "2 calendars: 0 written.\n"
    assert clinic.say(f"{command} --child K-017") == "1 calendar: 0 written.\n"
