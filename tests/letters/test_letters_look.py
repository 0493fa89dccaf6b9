"""Letters as they look: nothing cut off or over anything on paper, no rule broken in a browser."""

from collections.abc import Iterator

import pytest

from rehab.letters.html_page import html_of
from rehab.letters.pdf_page import Printing, pdf_of
from tests.letters.browser_judges import Browser, running_browser
from tests.letters.kinds import every_kind, every_language, letter_of
from tests.letters.page_judges import cut_off, overlaps


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with running_browser() as started:
        yield started


@every_kind
@every_language
@pytest.mark.parametrize("large_print", [False, True], ids=["usual", "large"])
def test_nothing_is_cut_off_and_nothing_lies_over_anything(
    kind: str, code: str, large_print: bool
) -> None:
    pdf = pdf_of([letter_of(kind, code)], Printing(large_print=large_print))
    assert cut_off(pdf) == []
    assert overlaps(pdf) == []


@every_kind
@every_language
@pytest.mark.parametrize("large_print", [False, True], ids=["usual", "large"])
def test_a_page_fits_a_narrow_screen(
    browser: Browser, kind: str, code: str, large_print: bool
) -> None:
    assert browser.too_wide(html_of(letter_of(kind, code), large_print=large_print)) == []


@every_kind
@every_language
def test_a_page_breaks_no_rule_of_accessibility(browser: Browser, kind: str, code: str) -> None:
    assert browser.violations(html_of(letter_of(kind, code))) == []


@every_kind
@pytest.mark.parametrize("code", ["en", "ar"])
def test_a_page_breaks_none_in_print_either_way_it_runs(
    browser: Browser, kind: str, code: str
) -> None:
    assert browser.violations(html_of(letter_of(kind, code)), medium="print") == []
