"""The page to print and write on: all that a call needs, and nothing typed becomes markup."""

import re
from datetime import date
from html.parser import HTMLParser

from rehab.care.case import Child
from rehab.care.contacts import Contact, ContactTry, TryOutcome, Way
from rehab.care.recall import Recall
from rehab.care.recall_reasons import Reason, ReasonKind
from rehab.letters.recall_page import recall_page
from rehab.settings import Clinic

TODAY = date(2026, 6, 1)
CLINIC = Clinic("Quillmere <Eye> Clinic")
ANA = Recall(
    Child("K-1", "Ana <b>B</b>", date(2026, 2, 1), language="sw", phone="+999 555 0100"),
    1,
    (Reason(ReasonKind.NOT_BROUGHT, "was not brought (2026-05-25)"),),
    date(2026, 6, 8),
    contacts=(Contact("C1", "عبد الرحمن", "father", "+999 555 0101"),),
    last_tries=(
        ContactTry("T1", date(2026, 5, 28), Way.PHONE, TryOutcome.NO_ANSWER),
        ContactTry("T2", date(2026, 5, 29), Way.LETTER, TryOutcome.SENT),
    ),
)
WAITS = Recall(Child("K-2", "Bo", date(2024, 2, 1)), 4, (), waits_until=date(2026, 6, 5))


class Text(HTMLParser):
    """The cells of the table's body, as text."""

    def __init__(self) -> None:
        super().__init__()
        self.rows: list[list[str]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "tr":
            self.rows.append([])
        elif tag in ("td", "th"):
            self.rows[-1].append("")

    def handle_data(self, data: str) -> None:
        if self.rows and self.rows[-1]:
            self.rows[-1][-1] = f"{self.rows[-1][-1]} {data}".strip()


def cells(page: str) -> list[list[str]]:
    reader = Text()
    reader.feed(page)
    return [[re.sub(r"\s+", " ", cell) for cell in row] for row in reader.rows]


def test_a_row_holds_what_a_call_needs_and_a_box_to_write_in() -> None:
    top, heads, row = cells(recall_page((ANA,), CLINIC, TODAY))
    assert len(heads) == len(row) == 7
    assert row == [
        "TODAY",
        "K-1 Ana <b>B</b> 4 months",
        "عبد الرحمن (father) +999 555 0101 +999 555 0100 language sw",
        "Was not brought (25 May 2026).",
        "Mon 8 Jun 2026",
        "29 May 2026 letter: sent 28 May 2026 phone call: no answer",
        "Spoke to New date Next try",
    ]
    assert "CONFIDENTIAL" in top[0]
    assert "Quillmere <Eye> Clinic" in top[0]


def test_the_head_of_each_page_counts_the_families() -> None:
    page = recall_page((ANA, WAITS), CLINIC, TODAY)
    (top,) = cells(page)[0]
    assert "Mon 1 June 2026 . 2 families: 1 TODAY, 1 on the day of the next try." in top
    assert cells(page)[-1][0] == "on 5 Jun 2026"
    assert cells(page)[-1][2] == "no number recorded language en"


def test_rows_stay_whole_names_are_set_apart_and_pages_are_numbered() -> None:
    page = recall_page((ANA,), CLINIC, TODAY)
    assert "<bdi>Ana &lt;b&gt;B&lt;/b&gt;</bdi>" in page
    assert '<b class="number" dir="ltr">+999 555 0101</b>' in page
    assert "tr { break-inside: avoid; }" in page
    assert "overflow-wrap: anywhere" in page
    assert 'counter(page) " of " counter(pages)' in page


def test_an_empty_list_says_so() -> None:
    assert cells(recall_page((), CLINIC, TODAY))[-1] == ["Nobody needs to be contacted."]
