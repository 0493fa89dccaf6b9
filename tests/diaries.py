"""A small diary for tests: Mondays at the clinic, and a list under anaesthesia on Tuesdays."""

from datetime import UTC, date, datetime
from pathlib import Path

from rehab.care.case import CheckKind
from rehab.care.diary import SessionPattern, Site
from rehab.settings import read_settings
from rehab.store.store import Stamp, open_store
from rehab.store.versions import DiaryRecord

STAMP = Stamp("M. Okoro", datetime(2026, 4, 1, tzinfo=UTC), "")
HARBOUR = Site("harbour", "Harbour Eye Clinic", time_zone="Europe/Lisbon")
MONDAYS = SessionPattern(
    "mondays", "harbour", date(2026, 4, 6), 9 * 60, 11 * 60, 60, "FREQ=WEEKLY;BYDAY=MO"
)
THEATRE = SessionPattern(
    "theatre",
    "harbour",
    date(2026, 4, 7),
    8 * 60,
    12 * 60,
    240,
    "FREQ=WEEKLY;BYDAY=TU",
    kinds=tuple(CheckKind),
    under_anaesthesia=True,
)


def keep_diary(home: Path, *records: DiaryRecord) -> None:
    """Writes these into the diary of the clinic in `home`."""
    store = open_store(read_settings(home).database_url)
    with store.transaction() as tx:
        for record in records:
            tx.add_to_diary(record, STAMP)
    store.close()
