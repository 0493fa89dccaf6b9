"""Fixation as it is written in notes, and when it changed."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rehab.errors import MeasureError
from rehab.measures.fixation import (
    Finding,
    Fixation,
    Nystagmus,
    fixation_change,
    parse_fixation,
    write_fixation,
)

YES, NO, UNKNOWN = Finding.YES, Finding.NO, Finding.UNKNOWN
FIXATIONS = st.builds(Fixation, *[st.sampled_from(Finding)] * 4)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("central, steady, maintained", Fixation(YES, YES, YES)),
        ("Central, steady and maintained", Fixation(YES, YES, YES)),
        ("CSM", Fixation(YES, YES, YES)),
        ("CSNM", Fixation(YES, YES, NO)),
        ("CSUM", Fixation(YES, YES, NO)),
        ("CNSM", Fixation(YES, NO, YES)),
        ("C NS M", Fixation(YES, NO, YES)),
        ("CUSUM", Fixation(YES, NO, NO)),
        ("UCUSUM", Fixation(NO, NO, NO)),
        ("CS not maintained", Fixation(YES, YES, NO)),
        ("not central", Fixation(central=NO)),
        ("eccentric, unsteady", Fixation(NO, NO)),
        ("unsteady", Fixation(steady=NO)),
        ("fixes and follows", Fixation(follows=YES)),
        ("F&F", Fixation(follows=YES)),
        ("does not fix", Fixation(follows=NO)),
        ("fixes but does not follow", Fixation(follows=NO)),
        ("CSM, fixes and follows", Fixation(YES, YES, YES, YES)),
        ("unknown", Fixation()),
    ],
)
def test_the_words_of_the_notes_are_read(text: str, expected: Fixation) -> None:
    assert parse_fixation(text) == expected


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("wobbly", '"wobbly" is not a word for fixation. Write "central", "steady"'),
        ("central, odd", '"odd" is not a word for fixation'),
        ("central, not central", 'says both yes and no to "central"'),
        ("does not fix and follows", 'says both yes and no to "follows"'),
        ("  ", "Nothing is written"),
    ],
)
def test_a_word_outside_the_vocabulary_is_refused_with_the_vocabulary(
    text: str, words: str
) -> None:
    with pytest.raises(MeasureError) as refused:
        parse_fixation(text)
    assert words in str(refused.value)
    assert '"CSM", "CSNM" or "UCUSUM"' in str(refused.value)


def test_nystagmus_has_a_word_for_not_known() -> None:
    assert Nystagmus("unknown") is Nystagmus.UNKNOWN


@pytest.mark.parametrize(
    ("before", "after", "change"),
    [
        ("CSUM", "CSM", 1),
        ("UCUSUM", "CSUM", 1),
        ("CSM", "CUSUM", -1),
        ("CSM", "CSM", 0),
        ("UCSM", "CSUM", None),
        ("CSM", "CS", None),
        ("unknown", "unknown", 0),
    ],
)
def test_fixation_changes_only_when_every_aspect_agrees(
    before: str, after: str, change: int | None
) -> None:
    assert fixation_change(parse_fixation(before), parse_fixation(after)) == change


@given(FIXATIONS)
def test_every_fixation_is_read_back_as_it_was_written(fixation: Fixation) -> None:
    assert parse_fixation(write_fixation(fixation)) == fixation


@given(st.text() | st.text("csmun ,&f", max_size=12))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        fixation = parse_fixation(text)
    except MeasureError:
        return
    assert parse_fixation(write_fixation(fixation)) == fixation
