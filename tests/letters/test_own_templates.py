"""A clinic's own templates take the place of ours, and one that fails is told by file and line."""

from dataclasses import replace
from pathlib import Path

import pytest

from rehab.errors import LetterError
from rehab.letters.facts import About, facts_of
from rehab.letters.html_page import html_of
from rehab.letters.languages import language
from rehab.letters.letter import write_letter
from tests.letters.plans import CLINIC, whole_plan

EYE_CAMP = '{% set title = _("Eye camp") %}\n<h1>{{ title }}</h1>\n'


def page(own: Path, kind: str, body: str) -> str:
    (own / f"{kind}.html").write_text(body, encoding="utf-8")
    facts = facts_of(whole_plan(), CLINIC, About())
    english = language("en", "", own)
    return html_of(write_letter(kind, facts, english, english, own=own))


def test_a_template_of_the_clinic_adds_a_letter(tmp_path: Path) -> None:
    said = page(tmp_path, "eye-camp", EYE_CAMP + "<p>{{ name(letter.child.name) }}</p>")
    assert "<h1>Eye camp</h1>" in said
    assert "<p><bdi>Ilo Marrow</bdi></p>" in said


def test_a_template_of_the_clinic_takes_the_place_of_ours(tmp_path: Path) -> None:
    assert "Today and this week" not in page(tmp_path, "family", EYE_CAMP)


@pytest.mark.parametrize(
    ("body", "line", "problem"),
    [
        ("<p>{{ letter.diagnosis }}</p>", 3, "has no attribute 'diagnosis'"),
        ("<p>{{ diagnosis }}</p>", 3, "'diagnosis' is undefined"),
        ("<p>\n{% if %}</p>", 4, "Expected an expression"),
        ("<p>{{ 1 / 0 }}</p>", 3, "division by zero"),
        ("{{ letter.child.__class__.__mro__ }}", 3, "is unsafe"),
        ('{{ "x".format.__globals__ }}', 3, "is unsafe"),
    ],
)
def test_a_template_that_fails_is_told_by_file_and_line(
    tmp_path: Path, body: str, line: int, problem: str
) -> None:
    with pytest.raises(LetterError) as refused:
        page(tmp_path, "eye-camp", EYE_CAMP + body)
    assert refused.value.where == f"{tmp_path / 'eye-camp.html'}:{line}"
    assert problem in refused.value.what


def test_a_template_finds_no_secret_of_the_clinic(tmp_path: Path) -> None:
    clinic = replace(CLINIC, feed_secret="brass lantern, ninety-one geese")
    (tmp_path / "eye-camp.html").write_text(
        EYE_CAMP + '<p>{{ letter.clinic.feed_secret }}{{ "%s" | format(letter) }}</p>'
    )
    english = language("en", "", tmp_path)
    facts = facts_of(whole_plan(), clinic, About())
    made = write_letter("eye-camp", facts, english, english, own=tmp_path)
    assert "geese" not in html_of(made)


def test_a_template_cannot_read_what_lies_outside_its_folder(tmp_path: Path) -> None:
    (tmp_path / "clinic.toml").write_text("secret")
    own = tmp_path / "letters"
    own.mkdir()
    for path in ("../clinic.toml", "letters/../clinic.toml"):
        with pytest.raises(LetterError, match="there is no template"):
            page(own, "eye-camp", EYE_CAMP + f'{{% include "{path}" %}}')


@pytest.mark.parametrize(
    ("body", "problem"),
    [
        ("<p>one<p>two</p>", "not well-formed"),
        ("<script>1</script>", "a letter cannot hold <script>"),
        ("<div>" * 3000 + "</div>" * 3000, "in each other too deeply"),
        ('<p><img src="https://example.org/a.png" alt="a"/></p>', "a picture must be SVG"),
    ],
)
def test_what_the_layout_does_not_know_is_refused_before_anything_is_printed(
    tmp_path: Path, body: str, problem: str
) -> None:
    with pytest.raises(LetterError) as refused:
        page(tmp_path, "eye-camp", EYE_CAMP + body)
    assert problem in refused.value.what
    assert refused.value.where == "letter eye-camp in en"
