"""A review of a translation says of which words, by whom, and what qualifies that person."""

from dataclasses import replace
from datetime import date

import pytest

from rehab.care.translations import TranslationReview, check_review
from rehab.errors import RecordError

TODAY = date(2026, 4, 20)
REVIEW = TranslationReview("", "sw", "0f" * 8, "J. Mwangi", "interpreter", date(2026, 4, 20))


def test_a_review_of_today_is_taken() -> None:
    check_review(REVIEW, TODAY)


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"digest": ""}, "sw: the digest '' of a review of a translation cannot be printed."),
        ({"reviewer": " "}, "sw: the reviewer ' ' of a review"),
        ({"qualification": "a\u202eb"}, "sw: the qualification 'a\\u202eb' of a review"),
        ({"language": ""}, "the language '' of a review"),
        ({"on": date(2026, 4, 21)}, "sw: the review on 2026-04-21 has not been yet (today is"),
    ],
)
def test_a_review_that_cannot_be_is_refused(given: dict[str, str], said: str) -> None:
    with pytest.raises(RecordError) as refused:
        check_review(replace(REVIEW, **given), TODAY)  # type: ignore[arg-type]
    assert str(refused.value).startswith(said)
