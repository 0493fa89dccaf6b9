"""Laws of what becomes of calendar entries, whatever plans follow one another."""

from dataclasses import replace
from random import Random

from hypothesis import given
from hypothesis import strategies as st

from rehab.care.changes import Entry, EntryKind, EntryState, follow
from rehab.care.plan import Plan
from tests.care.changing_plans import histories


def replay(history: tuple[Plan, ...]) -> tuple[Entry, ...]:
    entries: tuple[Entry, ...] = ()
    for each in history:
        entries = follow(entries, each)
    return entries


@given(histories())
def test_following_the_same_plan_twice_is_following_it_once(history: tuple[Plan, ...]) -> None:
    entries = replay(history)
    assert follow(entries, history[-1]) == entries


@given(histories(), st.randoms(use_true_random=False))
def test_the_order_of_entries_and_visits_means_nothing(
    history: tuple[Plan, ...], random: Random
) -> None:
    before, last = replay(history[:-1]), history[-1]
    visits, spans = list(last.visits), list(last.occlusion)
    entries = list(before)
    for each in (visits, spans, entries):
        random.shuffle(each)
    shuffled = replace(last, visits=tuple(visits), occlusion=tuple(spans))
    assert follow(tuple(entries), shuffled) == follow(before, last)


@given(histories())
def test_the_live_trips_are_exactly_the_visits_of_the_plan(history: tuple[Plan, ...]) -> None:
    live = [
        (e.on, e.kind is EntryKind.APPOINTMENT, e.checks)
        for e in replay(history)
        if e.state is EntryState.LIVE and e.kind is not EntryKind.OCCLUSION
    ]
    wanted = [(v.on, v.booked, tuple(sorted(c.key for c in v.checks))) for v in history[-1].visits]
    assert sorted(live) == sorted(wanted)


@given(histories())
def test_no_entry_is_lost_and_a_sequence_rises_exactly_with_the_content(
    history: tuple[Plan, ...],
) -> None:
    before, after = replay(history[:-1]), replay(history)
    new = {e.uid: e for e in after}
    assert len(new) == len(after)
    for old in before:
        entry = new[old.uid]
        same = replace(entry, state=old.state, sequence=old.sequence, changed_on=old.changed_on)
        withdrawn = EntryState.WITHDRAWN in (old.state, entry.state) and old.state != entry.state
        revived = old.state is not EntryState.LIVE and entry.state is EntryState.LIVE
        changed = same != old or withdrawn or revived
        assert entry.sequence == old.sequence + changed
        assert entry.changed_on == (history[-1].today if changed else old.changed_on)


@given(histories())
def test_no_span_is_empty_and_a_settled_one_has_no_day_to_come(
    history: tuple[Plan, ...],
) -> None:
    today = history[-1].today
    for entry in replay(history):
        assert entry.start < entry.until
        if entry.kind is EntryKind.OCCLUSION and entry.state is EntryState.SETTLED:
            assert entry.until <= today
