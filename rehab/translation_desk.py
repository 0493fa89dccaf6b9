"""Reviews of translations as the clinic records them."""

from datetime import date

from rehab.care.translations import TranslationReview, check_review
from rehab.store.store import Stamp
from rehab.workflow import Desk


def record_review(desk: Desk, review: TranslationReview, *, today: date, stamp: Stamp) -> str:
    """The key of it; raises RecordError for one that cannot be, or that is recorded already."""
    check_review(review, today)
    with desk.store.transaction() as tx:
        return tx.add_translation_review(review, stamp)
