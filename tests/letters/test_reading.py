"""How hard the English letters are to read: at or below the sixth grade by published formulas.

Sixth grade: the advice of the American Medical Association (Weiss, Health literacy and patient
safety, 2007; from memory). Formulas: Flesch-Kincaid (Kincaid and others, 1975), the automated
readability index (Senter and Smith, 1967), Coleman-Liau (1975), fog (Gunning, 1952).
"""

import pytest
import textstat

from rehab.care.plan import Plan
from tests.letters.plans import letter_page
from tests.letters.test_family import LETTERS, Page, text

SIXTH = 6.0
SENTENCES_OF_A_PARAGRAPH = 4
FORMULAS = (
    textstat.flesch_kincaid_grade,
    textstat.automated_readability_index,
    textstat.coleman_liau_index,
    textstat.gunning_fog,
)

every_letter = pytest.mark.parametrize("plan", LETTERS.values(), ids=LETTERS.keys())


def prose(plan: Plan) -> str:
    """Whole sentences only: headings, cells and short lists would flatter the letter."""
    blocks = text(letter_page(plan)).splitlines()[1:]
    return " ".join(block for block in blocks if block.endswith((".", "!", "?")))


@every_letter
@pytest.mark.parametrize("formula", FORMULAS, ids=lambda formula: str(formula.__name__))
@pytest.mark.filterwarnings(
    "ignore::ResourceWarning", "ignore::pytest.PytestUnraisableExceptionWarning"
)
def test_prose_is_at_or_below_the_sixth_grade(plan: Plan, formula: object) -> None:
    assert callable(formula)
    assert formula(prose(plan)) <= SIXTH


@every_letter
def test_no_paragraph_has_more_than_four_sentences(plan: Plan) -> None:
    blocks = (" ".join(block.split()) for block in Page(letter_page(plan)).blocks)
    long = [b for b in blocks if b.count(". ") + b.endswith(".") > SENTENCES_OF_A_PARAGRAPH]
    assert long == []


def test_the_formulas_tell_hard_words_from_easy_ones() -> None:
    hard = (
        "Amblyopia rehabilitation necessitates conscientious adherence to occlusion therapy "
        "regimens throughout the developmental sensitivity period following cataract extraction."
    )
    assert all(formula(hard) > SIXTH for formula in FORMULAS)
