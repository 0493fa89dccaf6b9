"""How hard the English letters are to read: at or below the sixth grade by published formulas.

Sixth grade: the advice of the American Medical Association (Weiss, Health literacy and patient
safety, 2007; from memory). Formulas: Flesch-Kincaid (Kincaid and others, 1975), the automated
readability index (Senter and Smith, 1967), Coleman-Liau (1975), fog (Gunning, 1952).
"""

import pytest
import textstat

from rehab.care.plan import Plan
from rehab.letters.html_page import html_of
from tests.letters.kinds import TO_FAMILIES, letter_of
from tests.letters.plans import letter_page
from tests.letters.test_family import LETTERS, Page, sentences, text

SIXTH = 6.0
SENTENCES_OF_A_PARAGRAPH = 4
LONGEST_SENTENCE = 20
FORMULAS = (
    textstat.flesch_kincaid_grade,
    textstat.automated_readability_index,
    textstat.coleman_liau_index,
    textstat.gunning_fog,
)

every_letter = pytest.mark.parametrize("plan", LETTERS.values(), ids=LETTERS.keys())


every_other_kind = pytest.mark.parametrize("kind", [k for k in TO_FAMILIES if k != "family"])


def prose(html: str) -> str:
    """Whole sentences only: headings, cells and short lists would flatter the letter."""
    blocks = text(html).splitlines()[1:]
    return " ".join(block for block in blocks if block.endswith((".", "!", "?")))


@every_letter
@pytest.mark.parametrize("formula", FORMULAS, ids=lambda formula: str(formula.__name__))
@pytest.mark.filterwarnings(
    "ignore::ResourceWarning", "ignore::pytest.PytestUnraisableExceptionWarning"
)
def test_prose_is_at_or_below_the_sixth_grade(plan: Plan, formula: object) -> None:
    assert callable(formula)
    assert formula(prose(letter_page(plan))) <= SIXTH


@every_other_kind
@pytest.mark.parametrize("formula", FORMULAS, ids=lambda formula: str(formula.__name__))
@pytest.mark.filterwarnings(
    "ignore::ResourceWarning", "ignore::pytest.PytestUnraisableExceptionWarning"
)
def test_prose_of_other_letters_is_so_too(kind: str, formula: object) -> None:
    assert callable(formula)
    assert formula(prose(html_of(letter_of(kind)))) <= SIXTH


@every_other_kind
def test_sentences_and_paragraphs_of_other_letters_are_short(kind: str) -> None:
    page = html_of(letter_of(kind))
    assert [s for s in sentences(page) if len(s.split()) > LONGEST_SENTENCE] == []
    assert long_paragraphs(page) == []


@every_letter
def test_no_paragraph_has_more_than_four_sentences(plan: Plan) -> None:
    assert long_paragraphs(letter_page(plan)) == []


def long_paragraphs(html: str) -> list[str]:
    blocks = (" ".join(block.split()) for block in Page(html).blocks)
    return [b for b in blocks if b.count(". ") + b.endswith(".") > SENTENCES_OF_A_PARAGRAPH]


def test_the_formulas_tell_hard_words_from_easy_ones() -> None:
    hard = (
        "Amblyopia rehabilitation necessitates conscientious adherence to occlusion therapy "
        "regimens throughout the developmental sensitivity period following cataract extraction."
    )
    assert all(formula(hard) > SIXTH for formula in FORMULAS)
