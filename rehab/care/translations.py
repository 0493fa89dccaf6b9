"""Reviews of translations: which words of which language a qualified person has read."""

from dataclasses import dataclass
from datetime import date

from rehab.care.contact_checks import printable
from rehab.errors import RecordError


@dataclass(frozen=True, slots=True)
class TranslationReview:
    """`digest` names the words that were reviewed: a catalogue with another is not reviewed."""

    id: str
    language: str
    digest: str
    reviewer: str
    qualification: str
    on: date


def check_review(review: TranslationReview, today: date) -> None:
    """Raises RecordError for a review without its words or reviewer, or that has not been yet."""
    said = {
        "language": review.language,
        "digest": review.digest,
        "reviewer": review.reviewer,
        "qualification": review.qualification,
    }
    for name, text in said.items():
        if not text.strip() or not printable(text):
            raise RecordError(
                f"the {name} {text!r} of a review of a translation cannot be printed.",
                where=review.language,
                do="Say which words were reviewed, by whom, and what qualifies that person.",
            )
    if review.on > today:
        raise RecordError(
            f"the review on {review.on} has not been yet (today is {today}).",
            where=review.language,
            do="Check the date, or give --today.",
        )
