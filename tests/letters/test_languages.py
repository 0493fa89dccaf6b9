"""Every language says all of it, with the same numbers, days and eyes, or the tests fail."""

import json
import re
import subprocess
import sys
from pathlib import Path
from statistics import mean

import pytest

from rehab.care.case import Eye
from rehab.errors import LetterError
from rehab.letters.facts import About, facts_of
from rehab.letters.languages import (
    CLINICAL,
    PLACEHOLDER,
    SOURCE,
    code_of,
    first_weekday,
    language,
    read_catalogue,
)
from rehab.letters.letter import KINDS, write_letter
from rehab.letters.phrases import Phrases
from rehab.settings import LETTER_LANGUAGES
from tests.letters.kinds import TO_FAMILIES, facts_by_kind, letter_of
from tests.letters.plans import CLINIC, whole_plan
from tests.letters.test_family import LETTERS, sentences
from tests.write_messages import CATALOGUES, ROOT, brought_up_to_date, template_catalogue

TRANSLATIONS = tuple(code for code in LETTER_LANGUAGES if code != SOURCE and code_of(code))
# The words for a person's own right and left side, as any dictionary has them; common practice.
SIDES = {
    "es": ("derech", "izquierd"),
    "fr": ("droit", "gauche"),
    "pt": ("direit", "esquerd"),
    "sw": ("kulia", "kushoto"),
    "hi": ("दाहिन", "बाईं"),
    "bn": ("ডান", "বাম"),
    "ta": ("வலது", "இடது"),
    "ar": ("يمنى", "يسرى"),
    "ur": ("دائیں", "بائیں"),
}
# The longest sentence, in words, and how much longer the mean one may be than the English.
LONGEST, LONGER = 28, 1.35

every_translation = pytest.mark.parametrize("code", TRANSLATIONS)


def body(code: str, kind: str = "family", plan: str = "whole") -> str:
    facts = facts_of(LETTERS[plan], CLINIC, About())
    return write_letter(kind, facts, language(code), language(SOURCE)).words[0].body


@every_translation
def test_a_catalogue_has_just_the_messages_that_letters_say(code: str) -> None:
    path = CATALOGUES / f"{code}.po"
    assert path.read_bytes() == brought_up_to_date(code, template_catalogue()), (
        "python -m tests.write_messages, then translate what is new"
    )


@every_translation
def test_every_message_is_translated_with_each_of_its_placeholders(code: str) -> None:
    wrong = []
    for message in read_catalogue(CATALOGUES / f"{code}.po", code):
        if not message.id:
            continue
        asked = message.id if isinstance(message.id, str) else message.id[0]
        said = message.string if isinstance(message.string, tuple) else (str(message.string),)
        for form in said:
            if not form or sorted(PLACEHOLDER.findall(form)) != sorted(PLACEHOLDER.findall(asked)):
                wrong.append((asked, form))
    assert wrong == []


@every_translation
def test_right_is_right_and_left_is_left_and_no_other_message_says_either(code: str) -> None:
    right, left = SIDES[code]
    for message in read_catalogue(CATALOGUES / f"{code}.po", code):
        said = str(message.string).lower() if message.id else ""
        if message.id == "right eye":
            assert right in said
            assert left not in said
        elif message.id == "left eye":
            assert left in said
            assert right not in said
        else:
            assert right not in said, message.id
            assert left not in said, message.id


VALUES = re.compile(r'datetime="[^"]+"|class="(?:dose m\d+|eye [a-z ]+)"|class="number">[^<]+')


@every_translation
@pytest.mark.parametrize("plan", LETTERS)
def test_days_hours_and_eyes_are_the_same_in_every_language(code: str, plan: str) -> None:
    assert VALUES.findall(body(code, plan=plan)) == VALUES.findall(body(SOURCE, plan=plan))


@every_translation
@pytest.mark.parametrize("kind", KINDS)
def test_they_are_the_same_in_every_letter(code: str, kind: str) -> None:
    here, there = (VALUES.findall(letter_of(kind, c).words[0].body) for c in (code, SOURCE))
    assert here == there


@every_translation
@pytest.mark.parametrize("minutes", [1, 45, 60, 61, 90, 120, 150, 180, 330, 660, 720])
def test_hours_are_written_with_the_same_digits(code: str, minutes: int) -> None:
    for name in ("hours", "short_hours"):
        there, here = (
            re.findall(r">(.+)<", getattr(Phrases(language(c)), name)(minutes))[0]
            for c in (code, SOURCE)
        )
        assert re.findall(r"\d+", there) == re.findall(r"\d+", here), there


@pytest.mark.parametrize("code", LETTER_LANGUAGES)
@pytest.mark.parametrize(("minutes", "days"), [(150, 7), (150, 6), (60, 1)])
def test_hours_on_some_days_of_a_week_are_said_by_the_day(
    code: str, minutes: int, days: int
) -> None:
    """Two hours on five days of a week must not be read as two hours a week."""
    phrases = Phrases(language(code))
    dose = phrases.dose(minutes, days)
    assert phrases.hours(minutes) in dose
    assert phrases.how_often(days) in dose
    assert (
        len(dose.striptags().split())
        > len(f"{phrases.hours(minutes).striptags()} {phrases.how_often(days)}".split())
    ) is (days < 7)


@pytest.mark.parametrize(
    ("minute", "said"),
    [
        (8 * 60, "08:00 asubuhi (saa 2:00)"),
        (10 * 60 + 30, "10:30 asubuhi (saa 4:30)"),
        (12 * 60, "12:00 mchana (saa 6:00)"),
        (16 * 60 + 5, "16:05 jioni (saa 10:05)"),
    ],
)
def test_a_time_in_swahili_is_also_said_as_it_is_spoken(minute: int, said: str) -> None:
    """Hours of the day are counted from six in Swahili: common practice, no source."""
    assert Phrases(language("sw")).clock(minute).striptags() == said


EVERY_PHRASE = """
import json, sys
from datetime import date
from rehab.letters.languages import language
from rehab.letters.phrases import Phrases
said = {}
for code in sys.argv[1:]:
    phrases = Phrases(language(code))
    days = [date(2026, month, month) for month in range(1, 13)]
    said[code] = [
        *map(phrases.month_name, days), *map(phrases.day, days), *map(phrases.weekday, range(7)),
        phrases.weekdays(range(7)), *(phrases.clock(60 * hour) for hour in range(24)),
        *(phrases.dose(minutes, 5) for minutes in range(0, 300, 15)),
    ]
print(json.dumps(said))
"""


def test_no_language_s_names_slip_into_another_s_letter() -> None:
    """Whatever was written before: once Babel has read one language, it may mix up the next."""

    def said(*codes: str) -> dict[str, list[str]]:
        run = [sys.executable, "-c", EVERY_PHRASE, *codes]
        answer: dict[str, list[str]] = json.loads(subprocess.check_output(run, cwd=ROOT))
        return answer

    there, back = said(*LETTER_LANGUAGES), said(*reversed(LETTER_LANGUAGES))
    assert there == back
    assert len({tuple(phrases) for phrases in there.values()}) == len(LETTER_LANGUAGES)


@every_translation
def test_weekdays_over_a_calendar_are_short_and_differ(code: str) -> None:
    names = [Phrases(language(code)).weekday(number) for number in range(7)]
    assert len(set(names)) == 7
    assert max(map(len, names)) <= 8, names


@every_translation
def test_every_phrase_of_a_day_has_western_digits_and_the_year(code: str) -> None:
    for on in (whole_plan().today, whole_plan().horizon):
        said = re.findall(r">(.+)<", Phrases(language(code)).day(on))[0]
        assert re.findall(r"\d+", said) == [str(on.day), str(on.year)]


@every_translation
@pytest.mark.parametrize("kind", TO_FAMILIES)
def test_sentences_are_about_as_short_as_the_english(code: str, kind: str) -> None:
    def lengths(language_code: str) -> list[int]:
        said = sentences(letter_of(kind, language_code).words[0].body)
        return [len(s.split()) for s in said if s]

    assert max(lengths(code)) <= LONGEST
    assert mean(lengths(code)) <= LONGER * mean(lengths(SOURCE))


@every_translation
@pytest.mark.parametrize("kind", KINDS)
def test_a_new_translation_says_on_its_page_that_nobody_reviewed_it_and_brings_the_original(
    code: str, kind: str
) -> None:
    facts = facts_by_kind()[kind]
    letter = write_letter(kind, facts, language(code), language(SOURCE))
    assert [words.language.code for words in letter.words] == [code, SOURCE]
    notices = dict(letter.words[0].notices)
    assert notices[SOURCE].startswith("This translation has not been checked")
    assert notices[code] != notices[SOURCE]
    assert letter.words[1].notices == ()
    digest = frozenset({language(code).digest})
    reviewed = write_letter(kind, facts, language(code), language(SOURCE), reviewed=digest)
    assert [words.language.code for words in reviewed.words] == [code]
    assert reviewed.words[0].notices == ()


def test_no_two_languages_have_one_digest() -> None:
    assert len({language(code).digest for code in TRANSLATIONS}) == len(TRANSLATIONS)


def test_a_changed_word_must_be_reviewed_anew(tmp_path: Path) -> None:
    (tmp_path / "languages").mkdir()
    (tmp_path / "languages" / "es.po").write_text(
        'msgid ""\nmsgstr "Content-Type: text/plain; charset=utf-8\\n"\n\n'
        'msgid "Patch"\nmsgstr "X"\n'
    )
    ours, theirs = language("es"), language("es", "", tmp_path)
    assert theirs.words.gettext("Patch") == "X"
    assert theirs.digest != ours.digest
    assert theirs.needs_review(frozenset({ours.digest}))


@pytest.mark.parametrize(
    ("asked", "said", "problem"),
    [
        ("right eye", "ojo izquierdo", "stays as the program has it"),
        ("Your booked visit: %(day)s.", "Su consulta.", "leaves out or adds one of its"),
        ("Your booked visit: %(day)s.", "%(day)s %(name)s", "leaves out or adds one of its"),
    ],
)
def test_a_clinic_s_own_words_cannot_change_what_a_letter_means(
    tmp_path: Path, asked: str, said: str, problem: str
) -> None:
    (tmp_path / "languages").mkdir()
    path = tmp_path / "languages" / "es.po"
    path.write_text(
        'msgid ""\nmsgstr "Content-Type: text/plain; charset=utf-8\\n"\n\n'
        f'msgid "{asked}"\nmsgstr "{said}"\n'
    )
    with pytest.raises(LetterError) as refused:
        language("es", "", tmp_path)
    assert problem in refused.value.what
    assert refused.value.where == f"{path}:4"


def test_the_words_that_a_clinic_cannot_change_are_words_of_letters() -> None:
    ids = (m.id if isinstance(m.id, str) else m.id[0] for m in template_catalogue() if m.id)
    assert set(ids) >= CLINICAL


def test_a_message_that_nobody_translated_stops_the_letter() -> None:
    with pytest.raises(LetterError) as refused:
        language("es").words.gettext("A message of the clinic's own.")
    assert 'no translation of "A message of the clinic\'s own."' in refused.value.what


@pytest.mark.parametrize(
    "content",
    [
        b'msgid "a"\nmsgstr "\xff"\n',
        b'msgid ""\nmsgstr "Content-Type: text/plain; charset=nope\\n"\n\n'
        b'msgid "a"\nmsgstr "\xc3\xa9"\n',
    ],
)
def test_a_broken_catalogue_is_told_by_file(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "es.po"
    path.write_bytes(content)
    with pytest.raises(LetterError) as refused:
        read_catalogue(path, "es")
    assert refused.value.where.startswith(str(path))


@pytest.mark.parametrize(
    ("recorded", "code"),
    [("pt-BR", "pt"), ("es", "es"), ("EN_gb", "en"), ("", None), ("ky", None), ("../es", None)],
)
def test_a_recorded_language_finds_its_letters(recorded: str, code: str | None) -> None:
    assert code_of(recorded) == code


@pytest.mark.parametrize(("country", "first"), [("", 0), ("FR", 0), ("US", 6), ("EG", 5)])
def test_a_week_begins_as_in_the_clinic_s_country(country: str, first: int) -> None:
    """Unicode CLDR, supplemental week data."""
    assert first_weekday(country) == first


@every_translation
def test_eyes_differ(code: str) -> None:
    phrases = Phrases(language(code))
    assert len({phrases.eye(eye) for eye in Eye} | {phrases.eyes(tuple(Eye))}) == 3
