"""The clinic records that a translation was reviewed, and takes back what was recorded in error."""

from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from rehab.care.translations import TranslationReview
from rehab.corrections import withdraw
from rehab.errors import RecordError
from rehab.settings import Clinic, Settings
from rehab.store.store import Stamp, create_or_upgrade
from rehab.translation_desk import record_review
from rehab.workflow import Desk, open_desk

TODAY = date(2026, 4, 20)
STAMP = Stamp("M. Okoro", datetime(2026, 4, 20, tzinfo=UTC))
WHY = replace(STAMP, reason="read a draft")
REVIEW = TranslationReview("", "sw", "0f" * 8, "J. Mwangi", "interpreter", TODAY)


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    settings = Settings(tmp_path, Clinic("Harbour Eye Clinic"))
    create_or_upgrade(settings.database_url)
    opened = open_desk(settings)
    with closing(opened.store):
        yield opened


def test_a_review_counts_until_it_is_withdrawn(desk: Desk) -> None:
    key = record_review(desk, REVIEW, today=TODAY, stamp=STAMP)
    assert desk.store.translation_reviews() == (replace(REVIEW, id=key),)
    with pytest.raises(RecordError, match="needs a reason"):
        withdraw(desk, key, today=TODAY, stamp=STAMP)
    assert withdraw(desk, key, today=TODAY, stamp=WHY) == key
    assert desk.store.translation_reviews() == ()
    with pytest.raises(RecordError, match="this was withdrawn already, by"):
        withdraw(desk, key, today=TODAY, stamp=WHY)


def test_a_review_that_cannot_be_is_written_nowhere(desk: Desk) -> None:
    with pytest.raises(RecordError, match="has not been yet"):
        record_review(desk, replace(REVIEW, on=date(2026, 4, 21)), today=TODAY, stamp=STAMP)
    with pytest.raises(RecordError, match="nothing is recorded as @translation/1"):
        withdraw(desk, "@translation/1", today=TODAY, stamp=WHY)
    assert desk.store.translation_reviews() == ()
