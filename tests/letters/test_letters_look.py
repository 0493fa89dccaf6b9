"""Letters as they look: nothing cut off or over anything on paper, no rule broken in a browser."""

from collections.abc import Iterator

import pytest

from rehab.letters.html_page import html_of
from rehab.letters.pdf_page import Printing, pdf_of
from tests.letters.browser_judges import Browser, running_browser
from tests.letters.page_judges import cut_off, overlaps
from tests.letters.plans import whole_plan
from tests.letters.test_pdf_page import every_language, family


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with running_browser() as started:
        yield started


@every_language
@pytest.mark.parametrize("large_print", [False, True], ids=["usual", "large"])
def test_nothing_is_cut_off_and_nothing_lies_over_anything(code: str, large_print: bool) -> None:
    pdf = pdf_of([family(whole_plan(), code)], Printing(large_print=large_print))
    assert cut_off(pdf) == []
    assert overlaps(pdf) == []


@every_language
@pytest.mark.parametrize("large_print", [False, True], ids=["usual", "large"])
def test_a_page_breaks_no_rule_and_fits_a_narrow_screen(
    browser: Browser, code: str, large_print: bool
) -> None:
    page = html_of(family(whole_plan(), code), large_print=large_print)
    assert browser.violations(page) == []
    assert browser.violations(page, medium="print") == []
    assert browser.too_wide(page) == []
