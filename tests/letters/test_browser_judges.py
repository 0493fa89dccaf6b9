"""The judges of a page in a browser: silent on a sound page, and they speak on a spoilt one."""

from collections.abc import Iterator

import pypdfium2
import pytest

from tests.letters.browser_judges import Browser, running_browser

SOUND = """<!doctype html><html lang="en"><head><meta charset="utf-8"><title>Letter</title>
<meta name="viewport" content="width=device-width"></head><body><main><h1>Letter</h1>
<p>Patch the right eye for 2 hours.</p>
<table><thead><tr><th scope="col">Day</th><th scope="col">Hours</th></tr></thead>
<tbody><tr><td>Monday</td><td>2</td></tr></tbody></table>
<img alt="A face" src="data:image/gif;base64,R0lGODlhAQABAAAAACw=">
</main></body></html>"""


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with running_browser() as started:
        yield started


@pytest.mark.parametrize("medium", ["screen", "print"])
def test_a_sound_page_breaks_no_rule(browser: Browser, medium: str) -> None:
    assert browser.violations(SOUND, medium=medium) == []
    assert browser.too_wide(SOUND) == []


@pytest.mark.parametrize(
    ("before", "after", "rule"),
    [
        (' lang="en"', "", "html-has-lang"),
        ("<title>Letter</title>", "", "document-title"),
        (' alt="A face"', "", "image-alt"),
        ("<p>", '<p style="color: #aaa">', "color-contrast"),
        ("<p>", '<p><a href="#x"></a>', "link-name"),
        ("<p>", "<h4>Skipped</h4><p>", "heading-order"),
        ("<main>", "<div>", "region"),
        ("width=device-width", "width=device-width, user-scalable=no", "meta-viewport"),
    ],
)
def test_a_broken_rule_is_named(browser: Browser, before: str, after: str, rule: str) -> None:
    found = browser.violations(SOUND.replace(before, after))
    assert any(line.startswith(f"{rule}: ") for line in found), found


def test_print_has_rules_of_its_own(browser: Browser) -> None:
    style = "<style>@media print { p { color: #ccc } }</style></head>"
    pale = SOUND.replace("</head>", style)
    assert browser.violations(pale, medium="screen") == []
    assert any("color-contrast" in line for line in browser.violations(pale, medium="print"))


def test_what_is_wider_than_a_narrow_screen_is_told(browser: Browser) -> None:
    wide = SOUND.replace("<table>", '<table style="width: 400px">')
    assert any(part.startswith("<table") for part in browser.too_wide(wide))


def test_a_printed_page_is_counted_on_the_paper_it_asks_for(browser: Browser) -> None:
    style = "<style>@page { size: A5 } h1 { break-after: page }</style></head>"
    printed = pypdfium2.PdfDocument(browser.printed(SOUND.replace("</head>", style)))
    assert len(printed) == 2
    assert [round(side) for side in printed[0].get_size()] == [420, 595]
