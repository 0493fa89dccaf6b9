"""What the clinic does with letters: made from the plan of the day, in the family's language,
and kept in a log from which the very same letter can be printed again."""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from functools import cached_property
from hashlib import sha256
from pathlib import Path
from typing import Any

from rehab.calendars import one_visit
from rehab.care.case import Case
from rehab.care.diary import Site
from rehab.care.emergency import emergency_number
from rehab.care.letter_log import LetterFormat, LetterMade
from rehab.care.plan import Plan
from rehab.errors import LetterError, RehabError
from rehab.feed_folder import feed_address, webcal
from rehab.letters.changes import TELLING, Told, told_from, told_record
from rehab.letters.clinical import before_ending
from rehab.letters.facts import About, LetterFacts, PhoneCalendar, facts_of
from rehab.letters.html_page import html_of
from rehab.letters.languages import SOURCE, Language, code_of, first_weekday, language
from rehab.letters.letter import Letter, Words, out_of_date, write_letter
from rehab.letters.pdf_page import Printing, pdf_of
from rehab.letters.tree import tree
from rehab.measures.dates import add_months
from rehab.publish_desk import session_sites
from rehab.store.store import Stamp
from rehab.whole_files import write_whole
from rehab.workflow import Desk, plan_of

LETTERS_FOLDER = "letters"
FONTS_FOLDER = "fonts"
CHILDREN_AT_ONCE = 100
# These are in the clinic's own language, whatever the family's is.
TO_CLINICIANS = ("clinician", "transfer")
CHANGES = "changes"


@dataclass(frozen=True, slots=True)
class Wish:
    """Which letter: its kind, a language ("" for the family's own), to whom, how large."""

    kind: str
    code: str = ""
    to: str = ""
    large_print: bool = False


@dataclass(frozen=True, slots=True)
class Made:
    """A letter with the plan that it was made from, and whether its translation was reviewed."""

    letter: Letter
    plan_digest: str
    revision: int
    reviewed: bool


@dataclass(frozen=True)
class Writing:
    """All that letters of one day share, read once."""

    desk: Desk
    today: date

    @cached_property
    def own(self) -> Path:
        return self.desk.settings.home / LETTERS_FOLDER

    @cached_property
    def reviewed(self) -> frozenset[str]:
        return frozenset(review.digest for review in self.desk.store.translation_reviews())

    @cached_property
    def places(self) -> Mapping[str, Site]:
        """Where each session is, as far as plans look ahead."""
        clinic = self.desk.settings.clinic
        horizon = add_months(self.today, clinic.horizon_months)
        return session_sites(self.desk.diary, clinic, self.today, horizon)

    @cached_property
    def emergency(self) -> str:
        clinic, protocol = self.desk.settings.clinic, self.desk.protocol
        return emergency_number(clinic.emergency_phone, clinic.country, protocol, self.today).number

    def language(self, code: str) -> Language:
        return language(code, self.desk.settings.clinic.country, self.own)

    def _code(self, wish: Wish, case: Case) -> str:
        clinic = self.desk.settings.clinic.language
        if wish.code or wish.kind in TO_CLINICIANS:
            return wish.code or clinic
        return code_of(case.child.language, self.own) or clinic

    def letter(
        self, wish: Wish, case: Case, revision: int = 0, last: LetterMade | None = None
    ) -> Made:
        """The letter about one child; raises RehabError where it must not be printed.

        `last` is the last letter that told the family its plan.
        """
        plan = plan_of(self.desk, case, today=self.today)
        chosen = self.language(self._code(wish, case))
        made = write_letter(
            wish.kind,
            self.facts(wish, case, plan, told_by(last) if last else None),
            chosen,
            self.language(SOURCE),
            reviewed=self.reviewed,
            own=self.own,
        )
        return Made(made, digest_of(plan), revision, not chosen.needs_review(self.reviewed))

    def facts(self, wish: Wish, case: Case, plan: Plan, told: Told | None = None) -> LetterFacts:
        clinic = self.desk.settings.clinic
        return facts_of(plan, clinic, self._about(case, plan, wish, told))

    def _about(self, case: Case, plan: Plan, wish: Wish, told: Told | None) -> About:
        ended = before_ending(case, self.today)
        return About(
            case=case,
            days=self.desk.days(plan.today, plan.horizon),
            places=self.places,
            emergency=self.emergency,
            calendar=self._calendar(plan),
            first_weekday=first_weekday(self.desk.settings.clinic.country),
            to=wish.to,
            plan_before=plan_of(self.desk, ended[0], today=ended[1]) if ended else None,
            told=told,
        )

    def _calendar(self, plan: Plan) -> PhoneCalendar | None:
        settings = self.desk.settings
        address = feed_address(settings, plan.child.number)
        if address:
            return PhoneCalendar(webcal(address), address)
        booked = next((v for v in plan.visits if v.booked and v.appointment), None)
        if booked is None or booked.appointment is None:
            return None
        at = booked.appointment
        zone = settings.clinic.time_zone
        text = one_visit(plan.child.number, at.on, at.starts_minute, at.minutes, zone)
        return PhoneCalendar(text, "")


def _last_told(writing: Writing, numbers: Sequence[str]) -> dict[str, LetterMade]:
    """The last letter to each family that told its plan; one of a later day tells nothing yet."""
    last = writing.desk.store.last_letters(numbers, TELLING)
    return {number: made for number, made in last.items() if made.made_on <= writing.today}


def told_by(letter: LetterMade) -> Told | None:
    """What a logged letter told; None where it was made before that was kept, or kept so."""
    record = json.loads(letter.words).get("told")
    try:
        return told_from(record) if record else None
    except (KeyError, TypeError, ValueError):
        return None


def digest_of(plan: Plan) -> str:
    """A plan as 64 hexadecimal digits: another plan has others."""
    return sha256(repr(plan).encode()).hexdigest()


def letters_of(writing: Writing, wish: Wish, numbers: Sequence[str]) -> Iterator[Made | RehabError]:
    """A letter for each child, or why there is none: one child must not hold up the others."""
    for start in range(0, len(numbers), CHILDREN_AT_ONCE):
        some = numbers[start : start + CHILDREN_AT_ONCE]
        cases, _, revisions = writing.desk.store.planning(some)
        last = _last_told(writing, some) if wish.kind == CHANGES else {}
        for number, case in cases.items():
            try:
                yield writing.letter(wish, case, revisions[number], last.get(number))
            except RehabError as error:
                yield error


def print_letters(
    writing: Writing, wish: Wish, made: Sequence[Made], path: Path, *, stamp: Stamp
) -> tuple[LetterError, ...]:
    """Write `made` into one file, PDF or HTML by its name, and log each letter.

    Returns why some could not be printed: one child must not hold up the others. Raises
    LetterError when none could.
    """
    how = printing(writing, wish)
    refused: dict[int, LetterError] = {}
    try:
        content = printed([each.letter for each in made], how, path)
    except LetterError as error:
        refused = _unprintable(made, how, path, error)
        made = [each for n, each in enumerate(made) if n not in refused]
        if not made:
            raise
        content = printed([each.letter for each in made], how, path)
    write_whole(path, content)
    digest = sha256(content).hexdigest()
    rows = [_logged(writing, wish, each, (path, digest), stamp) for each in made]
    with writing.desk.store.transaction() as tx:
        tx.log_letters(rows)
    return tuple(refused.values())


def _unprintable(
    made: Sequence[Made], how: Printing, path: Path, error: LetterError
) -> dict[int, LetterError]:
    """By place, why some of a stack cannot be printed; `error` is what was said of all of it."""
    if len(made) == 1:
        return {0: error}
    found: dict[int, LetterError] = {}
    half = len(made) // 2
    for start, some in ((0, made[:half]), (half, made[half:])):
        try:
            printed([each.letter for each in some], how, path)
        except LetterError as again:
            for n, why in _unprintable(some, how, path, again).items():
                found[start + n] = why
    return found


def printing(writing: Writing, wish: Wish) -> Printing:
    clinic = writing.desk.settings.clinic
    return Printing(clinic.paper, wish.large_print, writing.own / FONTS_FOLDER)


def printed(letters: Sequence[Letter], how: Printing, path: Path) -> bytes:
    """The file's bytes; several letters in one file are PDF."""
    if path.suffix.lower() == ".pdf":
        return pdf_of(letters, how)
    if path.suffix.lower() == ".html" and len(letters) == 1:
        return html_of(letters[0], large_print=how.large_print).encode()
    raise LetterError(
        "letters are printed as .pdf, or one alone as .html.",
        where=str(path),
        do="Choose another name.",
    )


def _logged(
    writing: Writing, wish: Wish, made: Made, file: tuple[Path, str], stamp: Stamp
) -> LetterMade:
    path, digest = file
    letter = made.letter
    return LetterMade(
        uid="",
        child_number=letter.facts.child.number,
        kind=letter.kind,
        language=letter.words[0].language.code,
        made_on=writing.today,
        made_at=stamp.at,
        made_by=stamp.by,
        revision=made.revision,
        plan_digest=made.plan_digest,
        file_name=path.name,
        file_format=LetterFormat(path.suffix.lower().removeprefix(".")),
        sha256=digest,
        words=words_json(letter, wish),
        large_print=wish.large_print,
        reviewed=made.reviewed,
    )


def words_json(letter: Letter, wish: Wish) -> bytes:
    """A letter's words, from which it can be printed as it was."""
    words = [
        {"code": w.language.code, "title": w.title, "body": w.body, "notices": w.notices}
        for w in letter.words
    ]
    record = {"wish": asdict(wish), "words": words, "told": told_record(letter.facts.told)}
    return json.dumps(record, ensure_ascii=False).encode()


def letter_again(
    writing: Writing, logged: LetterMade, case: Case, revision: int, *, old: bool
) -> tuple[Letter, Wish]:
    """The letter as it was made; raises LetterError when what it says may be another now, unless
    `old`. `revision` is that of the child today.

    An old letter says so on each of its pages.
    """
    said = json.loads(logged.words)
    wish = Wish(**said["wish"])
    plan = plan_of(writing.desk, case, today=logged.made_on)
    facts = Writing(writing.desk, logged.made_on).facts(wish, case, plan)
    as_recorded = revision == logged.revision and digest_of(plan) == logged.plan_digest
    if as_recorded and not _told_otherwise(writing, logged, wish, case):
        return _as_said(writing, said, facts, ()), wish
    if not old:
        raise LetterError(
            f"the plan has changed since this letter was made on {logged.made_on}.",
            where=f"{logged.kind} letter of child {logged.child_number}",
            do="Write a new one, or print the old one with --old.",
        )
    return _as_said(writing, said, facts, old_notices(writing, logged)), wish


def _told_otherwise(writing: Writing, logged: LetterMade, wish: Wish, case: Case) -> bool:
    """Whether hours, visits, numbers or prescriptions are other today than the letter told."""
    plan = plan_of(writing.desk, case, today=writing.today)
    changes = writing.facts(wish, case, plan, told_by(logged)).changes
    return changes is not None and changes.any


def old_notices(writing: Writing, logged: LetterMade) -> tuple[tuple[str, str], ...]:
    codes = dict.fromkeys((logged.language, SOURCE))
    return tuple((code, out_of_date(writing.language(code))) for code in codes)


def _as_said(
    writing: Writing, said: dict[str, Any], facts: LetterFacts, notices: tuple[tuple[str, str], ...]
) -> Letter:
    kind = said["wish"]["kind"]
    words = tuple(
        Words(
            writing.language(w["code"]),
            w["title"],
            w["body"],
            tree(w["body"], f"letter {kind} in {w['code']}"),
            (*notices, *((code, text) for code, text in w["notices"])),
        )
        for w in said["words"]
    )
    return Letter(kind, facts, words)
