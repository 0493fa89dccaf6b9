"""Commands: write letters, print one again, see what was written; languages and their reviews."""

from collections.abc import Sequence
from datetime import date
from pathlib import Path

import click

from rehab.care.contact_checks import printable
from rehab.care.letter_log import LetterMade
from rehab.care.translations import TranslationReview
from rehab.cli.options import Day, desk, file_name, json_option, stamped, today_option
from rehab.cli.output import print_json
from rehab.cli.progress import progress, refreshed
from rehab.errors import LetterError, RehabError
from rehab.letter_desk import (
    TO_CLINICIANS,
    Made,
    Wish,
    Writing,
    letter_again,
    letters_of,
    print_letters,
    printed,
    printing,
)
from rehab.letters.languages import SOURCE, code_of
from rehab.recall_desk import StoredList
from rehab.settings import LETTER_LANGUAGES
from rehab.store.store import Stamp
from rehab.translation_desk import record_review
from rehab.whole_files import write_whole
from rehab.workflow import Desk

# Of children of whom the same is said, those that are named.
SHOWN = 5

language_option = click.option(
    "--language", "code", type=click.Choice(LETTER_LANGUAGES), help="Else the family's own."
)


@click.group()
def letter() -> None:
    """Write letters."""


@letter.command()
@click.argument("kind")
@click.argument("numbers", nargs=-1)
@click.option("--day", type=Day(), help="For every child that is booked on this day.")
@click.option("--recall", is_flag=True, help="For every family of the recall list, in its order.")
@click.option("--out", type=click.Path(path_type=Path), help="A file, or a folder for one each.")
@language_option
@click.option("--to", default="", help="Whom a letter to a clinician is addressed to.")
@click.option("--large", is_flag=True, help="Large print, 18 point.")
@today_option
@stamped
@click.pass_obj
def write(
    home: Path | None,
    /,
    kind: str,
    numbers: tuple[str, ...],
    out: Path | None,
    today: date,
    stamp: Stamp,
    **asked: object,
) -> None:
    """Write the letter KIND about the children NUMBERS, as PDF or, by the name of --out, HTML.

    KIND is family, changes (since the last letter), appointment, diary, not-brought, school,
    clinician, transfer or transition, or the name of a template of the clinic's own. Several
    letters are one file, each on a new sheet, or with a folder as --out one file each. Where a
    letter cannot be written it says why, and the others are.

    Example: rehab letter write family K-017 --out K-017.pdf
    """
    opened = desk(home)
    wish = Wish(kind, str(asked["code"] or ""), str(asked["to"]), bool(asked["large"]))
    if not printable(wish.to):
        raise RehabError(
            "the addressee holds what cannot be printed.", where="--to", do="Type it again."
        )
    chosen = _chosen(opened, numbers, asked, today)
    writing = Writing(opened, today)
    made: list[Made] = []
    refused: list[RehabError] = []
    with progress(len(chosen), "Writing") as bar:
        for each in letters_of(writing, wish, chosen):
            if isinstance(each, RehabError):
                refused.append(each)
            else:
                made.append(each)
            bar.update(1)
    if len(chosen) == len(refused) == 1:
        raise refused[0]
    _say_why(refused)
    if not made:
        raise RehabError("no letter could be written.", where=kind, do="")
    path = out or Path(f"{file_name(chosen[0]) if len(chosen) == 1 else 'letters'}-{kind}.pdf")
    if path.is_dir() or (not path.suffix and out):
        unprinted = _one_each(writing, wish, made, path, stamp)
    else:
        unprinted = print_letters(writing, wish, made, path, stamp=stamp)
    _say_why(unprinted)
    count = len(made) - len(unprinted)
    click.echo(f"Wrote {path}: {'1 letter' if count == 1 else f'{count} letters'}.")
    _say_without_words(writing, wish, made)


def _one_each(
    writing: Writing, wish: Wish, made: Sequence[Made], folder: Path, stamp: Stamp
) -> tuple[LetterError, ...]:
    """A file for each letter; returns why some could not be printed."""
    refused = []
    for each in made:
        path = folder / f"{file_name(each.letter.facts.child.number)}-{wish.kind}.pdf"
        try:
            print_letters(writing, wish, [each], path, stamp=stamp)
        except LetterError as error:
            refused.append(error)
    if len(refused) == len(made):
        raise refused[0]
    return tuple(refused)


def _say_why(refused: Sequence[RehabError]) -> None:
    """One line for all children of whom the same is to be said."""
    by_reason: dict[tuple[str, str], list[RehabError]] = {}
    for error in refused:
        by_reason.setdefault((error.what, error.do), []).append(error)
    for (what, do), alike in by_reason.items():
        if len(alike) == 1:
            click.echo(f"No letter: {alike[0]}", err=True)
        else:
            first = ", ".join(error.where for error in alike[:SHOWN])
            more = ", ..." if len(alike) > SHOWN else ""
            click.echo(f"No letter, {len(alike)} times: {what} {do} ({first}{more})", err=True)


def _say_without_words(writing: Writing, wish: Wish, made: Sequence[Made]) -> None:
    """Whose own language has no words here, so that somebody can read the letter to the family."""
    if wish.code or wish.kind in TO_CLINICIANS:
        return
    for each in made:
        child = each.letter.facts.child
        if code_of(child.language, writing.own) is None:
            asked = child.language or "no language recorded"
            written = each.letter.words[0].language.english_name
            click.echo(
                f"{child.number} ({asked}): written in {written}. Explain it to the family, "
                "with an interpreter where needed.",
                err=True,
            )


def _chosen(
    opened: Desk, numbers: Sequence[str], asked: dict[str, object], today: date
) -> list[str]:
    day = asked["day"]
    if bool(numbers) + bool(day) + bool(asked["recall"]) != 1:
        raise click.UsageError("Name children, or give --day, or --recall: one of them.")
    if isinstance(day, date):
        found = [number for number, made in opened.store.expected(day) if made.on == day]
        if not found:
            raise RehabError(f"nobody is booked on {day}.", where="letters", do="Check the day.")
        return list(dict.fromkeys(found))
    if asked["recall"]:
        for _ in refreshed(opened, today, follow=False):
            pass
        return [line.child.number for line in StoredList(opened.store).families(None)]
    for number in numbers:
        opened.store.case(number)
    return list(dict.fromkeys(numbers))


@letter.command()
@click.argument("uid")
@click.option("--out", type=click.Path(path_type=Path, dir_okay=False), required=True)
@click.option("--old", is_flag=True, help="Also where the plan has changed; the page says so.")
@today_option
@click.pass_obj
def again(home: Path | None, uid: str, out: Path, old: bool, today: date) -> None:
    """Print the very letter UID of the log once more; refused where the plan is another by now.

    Example: rehab letter again 4f2a90 --out again.pdf
    """
    opened = desk(home)
    logged = opened.store.letter_made(uid)
    writing = Writing(opened, today)
    number = logged.child_number
    cases, _, revisions = opened.store.planning([number])
    made, wish = letter_again(writing, logged, cases[number], revisions[number], old=old)
    write_whole(out, printed([made], printing(writing, wish), out))
    click.echo(f"Wrote {out}.")


@letter.command()
@click.argument("number", required=False)
@click.option("--first", type=click.IntRange(1), default=50, help="How many, the newest first.")
@json_option
@click.pass_obj
def log(home: Path | None, number: str | None, first: int, as_json: bool) -> None:
    """List the letters that were made: for whom, when, by whom, from which plan, the file's hash.

    Example: rehab letter log K-017
    """
    made = desk(home).store.letters_made(number, first)
    if as_json:
        print_json([_row(each) for each in made])
        return
    for each in made:
        row = _row(each)
        click.echo("  ".join(str(row[name]) for name in row))
    if not made:
        click.echo("No letter was made.")


def _row(made: LetterMade) -> dict[str, object]:
    return {
        "letter": made.uid.partition("@")[0][:16],
        "made_on": made.made_on.isoformat(),
        "child": made.child_number,
        "kind": made.kind,
        "language": made.language,
        "translation": _review(made),
        "plan": made.plan_digest[:16],
        "file": made.file_name,
        "sha256": made.sha256,
        "made_by": made.made_by,
    }


def _review(made: LetterMade) -> str:
    if made.language == SOURCE:
        return "the original"
    return "reviewed" if made.reviewed else "not reviewed"


@letter.command()
@json_option
@today_option
@click.pass_obj
def languages(home: Path | None, as_json: bool, today: date) -> None:
    """List the languages of letters, and whether a qualified person reviewed their words.

    Example: rehab letter languages
    """
    opened = desk(home)
    writing = Writing(opened, today)
    reviews = {review.digest: review for review in opened.store.translation_reviews()}
    rows = []
    for code in filter(lambda code: code_of(code, writing.own), LETTER_LANGUAGES):
        known = writing.language(code)
        review = reviews.get(known.digest)
        said = f"reviewed by {review.reviewer} on {review.on}" if review else "not reviewed"
        rows.append((code, known.english_name, "the original" if code == SOURCE else said))
    if as_json:
        print_json([dict(zip(("code", "language", "review"), row, strict=True)) for row in rows])
        return
    for row in rows:
        click.echo(f"{row[0]}  {row[1]:<11} {row[2]}")


@letter.command()
@click.argument("code", type=click.Choice([c for c in LETTER_LANGUAGES if c != SOURCE]))
@click.option("--by", "reviewer", required=True, help="Who read all the words.")
@click.option("--qualification", required=True, help="What qualifies that person.")
@click.option("--on", type=Day(), help="The day of the review, else today.")
@today_option
@stamped
@click.pass_obj
def reviewed(
    home: Path | None,
    /,
    code: str,
    reviewer: str,
    qualification: str,
    on: date | None,
    today: date,
    stamp: Stamp,
) -> None:
    """Record that a qualified person reviewed the words of the language CODE as they are now.

    Letters in it then no longer say that nobody did. When the words change it must be read anew.
    Withdraw a review with `rehab record withdraw`.

    Example: rehab letter reviewed es --by "P. Serrano" --qualification "health translator"
    """
    opened = desk(home)
    known = Writing(opened, today).language(code)
    review = TranslationReview("", code, known.digest, reviewer, qualification, on or today)
    key = record_review(opened, review, today=today, stamp=stamp)
    click.echo(f"Recorded {key}: {known.english_name} reviewed by {reviewer}.")
