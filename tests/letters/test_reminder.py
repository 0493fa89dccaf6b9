"""The words of reminders: short, in the family's language, and telling nobody why."""

import re
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from rehab.care.reminding import segments
from rehab.errors import LetterError
from rehab.letters.reminder import Told, ToTell, has_words_in, tell
from rehab.shipped_files import shipped

TEMPLATES = sorted((shipped("templates") / "reminder").glob("*.txt"))
TO = ToTell(
    on=date(2026, 5, 4),
    time="09:40",
    place="Quay House, 2 Pier Road",
    clinic="Harbour Eye Clinic",
    phone="+00 555 0100",
)
# What would tell a stranger why the child comes, as beginnings of words.
TELLING = (
    "amblyop", "anaesth", "anesth", "aphak", "blind", "cataract", "cornea", "diagnos", "disease",
    "drop", "exam", "eye", "glasses", "glaucoma", "hospital", "ill", "implant", "lazy", "lens",
    "nystagm", "occlu", "operat", "optic", "patch", "patient", "pressure", "pupil", "refract",
    "retina", "see", "sight", "squint", "stitch", "strabism", "surg", "sutur", "treat", "vision",
)  # fmt: skip
TELLING_WORD = re.compile(rf"\b(?:{'|'.join(TELLING)})\w*", re.IGNORECASE)
OWN = """
{% set months = "qañtar aqpan nauryz säuir mamyr mausym şilde tamyz qyrküiek qazan qaraşa jeltoqsan"
   .split() %}
{% set title = "Qabyldau" %}
{% set cannot_come = "Kele almasañyz: {clinic}." %}
{% macro text_message(to) %}
{{ to.clinic }}: {{ to.on.day }} {{ months[to.on.month - 1] }}
{% endmacro %}
{% macro subject(to) %}Qabyldau{% endmacro %}
{% macro email(to) %}Salem,

{{ to.phone }}{% endmacro %}
"""


def words_of(told: Told) -> str:
    return " ".join((told.subject, told.text_message, told.email, told.title, told.cannot_come))


def test_there_are_templates_to_look_at() -> None:
    assert [path.stem for path in TEMPLATES] == ["en"]


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: path.stem)
@pytest.mark.parametrize("to", [TO, replace(TO, time="", place="", first_name="Asel")])
def test_no_reminder_tells_why_the_child_comes(path: Path, to: ToTell) -> None:
    told = tell(replace(to, clinic="Harbour House"), path.stem, Path())
    assert TELLING_WORD.findall(words_of(told)) == []


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: path.stem)
def test_no_template_holds_a_telling_word_that_only_some_families_would_read(path: Path) -> None:
    without_comments = re.sub(r"{#.*?#}", "", path.read_text(encoding="utf-8"), flags=re.DOTALL)
    assert TELLING_WORD.findall(without_comments) == []


@pytest.mark.parametrize(
    "word", ["Cataract", "eye", "left lens", "patching", "surgery", "glasses", "eyes"]
)
def test_the_search_for_telling_words_finds_them(word: str) -> None:
    assert TELLING_WORD.search(f"Your child's {word} appointment")


def test_a_parent_reads_who_writes_the_day_the_hour_the_place_and_where_to_ring() -> None:
    told = tell(TO, "en", Path())
    assert told.text_message == (
        "Harbour Eye Clinic: your child has an appointment on Monday 4 May at 09:40, Quay House, "
        "2 Pier Road. If you cannot come, please ring +00 555 0100."
    )
    assert told.subject == "Appointment on Monday 4 May"
    assert told.email == (
        "Hello,\n\n"
        "this is a reminder from Harbour Eye Clinic: your child has an appointment.\n\n"
        "When: Monday 4 May 2026, 09:40\n"
        "Where: Quay House, 2 Pier Road\n\n"
        "If you cannot come, please ring +00 555 0100. We will find another day.\n\n"
        "If we told you what to do before this appointment, please do it. If you are not sure, "
        "ring us.\n\n"
        "The file that comes with this message puts the appointment into your calendar. If you no "
        "longer want these messages, please tell us.\n\n"
        "Harbour Eye Clinic\n+00 555 0100\n"
    )


def test_what_is_not_known_leaves_no_gap_in_the_words() -> None:
    told = tell(replace(TO, time="", place=""), "en", Path())
    assert told.text_message == (
        "Harbour Eye Clinic: your child has an appointment on Monday 4 May. "
        "If you cannot come, please ring +00 555 0100."
    )
    assert "\nWhen: Monday 4 May 2026\n\nIf you cannot come" in told.email


def test_a_text_message_fits_into_one_part_on_the_longest_day_of_the_year_in_words() -> None:
    longest = replace(TO, on=date(2026, 9, 30), first_name="Alexandra")
    assert "Wednesday 30 September" in tell(longest, "en", Path()).text_message
    assert segments(tell(longest, "en", Path()).text_message) == 1


def test_signs_of_a_name_or_a_place_stay_as_they_are() -> None:
    told = tell(replace(TO, first_name="Jo'an", place="Smith & Sons <4>"), "en", Path())
    assert "Jo'an has an appointment" in told.text_message
    assert "Smith & Sons <4>" in told.text_message


@pytest.mark.parametrize(
    "language", ["kk", "", "English", "en-GB", "EN", "../letters/words", "a/b", "é"]
)
def test_a_language_without_a_template_is_answered_in_english(language: str) -> None:
    assert tell(TO, language, Path()) == tell(TO, "en", Path())


def test_whether_there_are_words_in_a_language_is_known(tmp_path: Path) -> None:
    (tmp_path / "reminder").mkdir()
    (tmp_path / "reminder" / "kk.txt").write_text(OWN, encoding="utf-8")
    spoken = ("en", "en-GB", "EN_us", "kk", "kk-Latn")
    silent = ("", "ru", "English", "k", "../letters/words")
    assert [has_words_in(language, tmp_path) for language in spoken] == [True] * len(spoken)
    assert [has_words_in(language, tmp_path) for language in silent] == [False] * len(silent)


def test_a_clinic_adds_a_language_or_its_own_words_by_a_file(tmp_path: Path) -> None:
    (tmp_path / "reminder").mkdir()
    (tmp_path / "reminder" / "kk.txt").write_text(OWN, encoding="utf-8")
    for language in ("kk", "kk-Latn", "KK_latn"):
        told = tell(TO, language, tmp_path)
        assert told.text_message == "Harbour Eye Clinic: 4 mamyr"
        assert (told.title, told.months[4]) == ("Qabyldau", "mamyr")


@pytest.mark.parametrize(
    "broken",
    [
        OWN.replace("{{ to.phone }}", "{{ to.diagnosis }}"),
        OWN.replace("{% endmacro %}", "", 1),
        OWN.replace("subject", "heading"),
        OWN.replace("{clinic}", "{hospital}"),
        OWN.replace("title", "name"),
        OWN.replace("qazan", ""),
    ],
)
def test_a_template_that_cannot_be_used_is_told(tmp_path: Path, broken: str) -> None:
    (tmp_path / "reminder").mkdir()
    (tmp_path / "reminder" / "kk.txt").write_text(broken, encoding="utf-8")
    with pytest.raises(LetterError) as caught:
        tell(TO, "kk", tmp_path)
    assert str(caught.value).startswith("reminder in kk: this template cannot be used (")
    assert caught.value.do == "Correct it: it must hold what the English one does."


def test_a_clinic_without_a_telephone_number_reminds_nobody() -> None:
    with pytest.raises(LetterError) as caught:
        tell(replace(TO, phone=""), "en", Path())
    assert str(caught.value) == (
        "reminder: the clinic has no telephone number, and a family must be able to ring. "
        "Set phone in the clinic file."
    )
