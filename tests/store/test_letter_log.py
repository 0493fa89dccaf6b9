"""The log of letters: each letter once, none lost, the newest first, on both databases."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import Connection, event

from rehab.care.letter_log import LetterFormat, LetterMade, identified
from rehab.care.translations import TranslationReview
from rehab.errors import RecordError
from rehab.store.letter_log import read_letters, write_letters
from rehab.store.schema import metadata
from rehab.store.store import Stamp, Store

NINE = datetime(2026, 4, 20, 9, tzinfo=UTC)
TEXTS = st.text(max_size=20)
DAYS = st.dates(date(2020, 1, 1), date(2090, 12, 31))
LETTERS = st.builds(
    LetterMade,
    uid=st.just(""),
    child_number=st.sampled_from(["K-1", "K-2"]),
    kind=st.sampled_from(["family", "school", "own letter"]),
    language=st.sampled_from(["en", "pt-BR"]),
    made_on=DAYS,
    made_at=st.integers(0, 10**15).map(lambda n: NINE + timedelta(microseconds=n)),
    made_by=TEXTS,
    revision=st.integers(0, 10**6),
    plan_digest=st.text("0123456789abcdef", max_size=64),
    file_name=TEXTS,
    file_format=st.sampled_from(LetterFormat),
    sha256=st.text("0123456789abcdef", max_size=64),
    words=st.binary(max_size=200),
    large_print=st.booleans(),
    reviewed=st.booleans(),
)


def letter(number: str = "K-1", at: datetime = NINE, **more: str) -> LetterMade:
    made = LetterMade(
        "", number, "family", "sw", at.date(), at, "M. Okoro", 4, "ab" * 32,
        f"{number}.pdf", LetterFormat.PDF, "cd" * 32, b'{"eye": "right"}',
    )  # fmt: skip
    return identified(replace(made, **more))  # type: ignore[arg-type]


def log(store: Store, *letters: LetterMade) -> tuple[LetterMade, ...]:
    with store.transaction() as tx:
        return tx.log_letters(letters)


@settings(deadline=None)
@given(letters=st.lists(LETTERS, max_size=4))
def test_letters_are_read_back_as_they_were_made_with_the_newest_first(
    tables: Connection, letters: list[LetterMade]
) -> None:
    tables.rollback()
    written = write_letters(tables, letters)
    read = read_letters(tables, None, None)
    assert repr(sorted(read, key=lambda made: made.uid)) == repr(
        sorted(written, key=lambda made: made.uid)
    )
    assert {made.uid for made in written} == {identified(made).uid for made in letters}
    times = [made.made_at for made in read]
    assert times == sorted(times, reverse=True)


def test_the_same_letter_made_twice_on_a_day_is_one_as_it_was_logged_first(store: Store) -> None:
    first = letter()
    again = replace(first, made_at=NINE + timedelta(hours=2), file_name="other.pdf")
    assert log(store, first) == (first,)
    assert log(store, again, letter("K-2")) == (again, letter("K-2"))
    assert set(store.letters_made()) == {first, letter("K-2")}
    tomorrow = letter(at=NINE + timedelta(days=1))
    assert log(store, tomorrow) == (tomorrow,)
    assert store.letters_made("K-1") == (tomorrow, first)


def test_letters_are_listed_for_one_child_or_all_as_many_as_asked(store: Store) -> None:
    assert store.letters_made() == ()
    made = [letter("K-1", NINE + timedelta(hours=n), sha256=f"{n:064}") for n in range(3)]
    log(store, *made, letter("K-2", NINE - timedelta(hours=1)))
    assert store.letters_made("K-1") == (made[2], made[1], made[0])
    assert store.letters_made(limit=2) == (made[2], made[1])
    assert [m.child_number for m in store.letters_made()] == ["K-1"] * 3 + ["K-2"]
    assert store.letters_made("K-3") == ()


def test_a_letter_is_found_by_as_much_of_its_uid_as_tells_it_from_the_others(store: Store) -> None:
    made = letter()
    log(store, made)
    assert store.letter_made(made.uid) == made
    assert store.letter_made(made.uid[:6]) == made
    for begins, words in (
        (made.uid[:5], "fewer than 6 characters do not name one letter"),
        ("", "fewer than 6 characters"),
        ("______", "______: there is no such letter. Give its characters as the log"),
        ("%%%%%%", "there is no such letter"),
    ):
        with pytest.raises(RecordError, match=words):
            store.letter_made(begins)


def test_a_beginning_that_two_letters_share_is_refused(store: Store) -> None:
    log(store, letter())
    with store.transaction() as tx:
        table = metadata.tables["letter_made"]
        row = tx.connection.execute(table.select()).one()._asdict()
        tx.connection.execute(table.insert().values({**row, "uid": f"{row['uid'][:8]}0@rehab"}))
    with pytest.raises(RecordError, match="more than one letter begins so"):
        store.letter_made(letter().uid[:8])


def test_the_last_letter_is_the_newest_of_the_kinds_that_are_asked_for(store: Store) -> None:
    family = letter()
    school = letter(at=NINE + timedelta(days=1), kind="school")
    changes = letter(at=NINE + timedelta(days=2), kind="changes")
    log(store, changes, family, school, letter("K-2"))
    assert store.last_letter("K-1", ("family", "changes")) == changes
    assert store.last_letter("K-1", ("family",)) == family
    assert store.last_letter("K-1", ("appointment",)) is None
    assert store.last_letter("K-3", ("family",)) is None
    assert store.last_letters(["K-1", "K-2", "K-3"], ["family", "school"]) == {
        "K-1": school,
        "K-2": letter("K-2"),
    }


def test_the_letters_of_a_whole_clinic_are_logged_in_few_statements(store: Store) -> None:
    made = [letter(f"K-{n}") for n in range(1200)]
    statements: list[str] = []
    event.listen(
        store.engine, "before_cursor_execute", lambda *given: statements.append(str(given[2]))
    )
    log(store, *made)
    assert len([s for s in statements if s.startswith(("SELECT letter", "INSERT"))]) <= 8
    assert len(store.last_letters([m.child_number for m in made], ["family"])) == 1200


REVIEW = TranslationReview("", "sw", "0f" * 8, "J. Mwangi", "interpreter", date(2026, 4, 13))


def test_a_review_counts_until_it_is_withdrawn_with_a_reason(store: Store, stamp: Stamp) -> None:
    with store.transaction() as tx:
        first = tx.add_translation_review(REVIEW, stamp)
        second = tx.add_translation_review(replace(REVIEW, digest="1e" * 8), stamp)
    assert (first, second) == ("@translation/1", "@translation/2")
    assert store.translation_reviews() == (
        replace(REVIEW, id=first),
        replace(REVIEW, id=second, digest="1e" * 8),
    )
    with store.transaction() as tx:
        tx.withdraw(first, replace(stamp, reason="read another file"), 1)
        assert tx.add_translation_review(REVIEW, stamp) == "@translation/3"
    assert [review.id for review in store.translation_reviews()] == [second, "@translation/3"]
    before, after = store.history_in_diary(first)
    assert (before.withdrawn, after.withdrawn, after.stamp.reason) == (
        False,
        True,
        "read another file",
    )


def test_the_same_person_does_not_review_the_same_words_twice(store: Store, stamp: Stamp) -> None:
    with store.transaction() as tx:
        tx.add_translation_review(REVIEW, stamp)
        tx.add_translation_review(replace(REVIEW, reviewer="A. Otieno"), stamp)
    words = "@translation/1: J. Mwangi reviewed these words already, on 2026-04-13"
    with pytest.raises(RecordError, match=words), store.transaction() as tx:
        tx.add_translation_review(replace(REVIEW, on=date(2026, 4, 14)), stamp)


def test_a_review_makes_no_plan_out_of_date(store: Store, stamp: Stamp) -> None:
    before = store.diary_revision()
    with store.transaction() as tx:
        tx.add_translation_review(REVIEW, stamp)
    assert store.diary_revision() == before
