"""What becomes of a family's calendar entries when the plan changes."""

from dataclasses import replace
from datetime import date

from rehab.care.case import Appointment, CheckKind
from rehab.care.changes import (
    Change,
    ChangeKind,
    EntryKind,
    EntryState,
    derived_uid,
    describe_changes,
    follow,
)
from rehab.care.plan import Plan
from tests.care.changing_plans import (
    CHILD,
    DAY,
    TODAY,
    axis,
    check,
    plan,
    pressure,
    span,
    visit,
)

FEB, MAR = date(2026, 2, 3), date(2026, 3, 3)


def test_a_first_plan_gives_each_visit_a_new_entry_with_its_window() -> None:
    (entry,) = follow((), plan(visit(FEB, pressure(1, FEB), axis(1, FEB))))
    assert (entry.sequence, entry.changed_on, entry.state) == (0, TODAY, EntryState.LIVE)
    assert entry.kind is EntryKind.VISIT
    assert (entry.start, entry.on, entry.until) == (date(2026, 1, 27), FEB, date(2026, 2, 11))
    assert entry.checks == (
        "pressure_check/right/20251001/1",
        "visual_axis_check/right/20251001/1",
    )


def test_a_visit_on_another_day_keeps_its_uid_and_raises_its_sequence() -> None:
    before = follow((), plan(visit(FEB, pressure(1, FEB))))
    later, on = TODAY + 10 * DAY, FEB + 6 * DAY
    (moved,) = follow(before, plan(visit(on, pressure(1, on)), today=later))
    assert moved.uid == before[0].uid
    assert (moved.sequence, moved.changed_on, moved.on) == (1, later, on)


def test_a_plan_made_again_later_with_the_same_content_changes_nothing() -> None:
    before = follow((), plan(visit(FEB, pressure(1, FEB)), occlusion=(span(TODAY, MAR),)))
    again = plan(visit(FEB, pressure(1, FEB)), today=TODAY + DAY, occlusion=(span(TODAY, MAR),))
    assert follow(before, again) == before


def test_a_check_that_joins_a_visit_raises_the_sequence_though_the_day_stays() -> None:
    before = follow((), plan(visit(FEB, pressure(1, FEB))))
    (after,) = follow(before, plan(visit(FEB, pressure(1, FEB), axis(1, FEB))))
    assert (after.uid, after.sequence, after.on) == (before[0].uid, 1, FEB)


def test_booking_a_visit_makes_its_entry_the_appointment_on_the_one_day() -> None:
    before = follow((), plan(visit(FEB, pressure(1, FEB))))
    (after,) = follow(before, plan(visit(FEB, pressure(1, FEB), booked=True)))
    assert (after.uid, after.sequence) == (before[0].uid, 1)
    assert after.kind is EntryKind.APPOINTMENT
    assert (after.start, after.until) == (FEB, FEB + DAY)


def test_the_window_of_a_booked_appointment_does_not_disturb_it() -> None:
    booked = visit(FEB, pressure(1, FEB), booked=True)
    before = follow((), plan(booked))
    assert follow(before, plan(replace(booked, earliest=FEB, latest=FEB + 2 * DAY))) == before


def test_another_hour_or_session_raises_the_sequence_though_the_day_stays() -> None:
    held = Appointment("A1", FEB, session="quay/7", starts_minute=540, minutes=20)
    booked = replace(visit(FEB, pressure(1, FEB), booked=True), appointment=held)
    (before,) = follow((), plan(booked))
    assert (before.session, before.starts_minute, before.minutes) == ("quay/7", 540, 20)
    for change in ({"starts_minute": 600}, {"session": "hill/7"}, {"minutes": 30}):
        changed = replace(booked, appointment=replace(held, **change))
        (after,) = follow((before,), plan(changed, today=TODAY + DAY))
        assert (after.uid, after.sequence, after.on) == (before.uid, 1, FEB)
        assert follow((after,), plan(changed, today=TODAY + 2 * DAY)) == (after,)


def test_an_hour_is_described_with_its_day() -> None:
    held = Appointment("A1", FEB, session="quay/7", starts_minute=545, minutes=20)
    booked = replace(visit(FEB, pressure(1, FEB), booked=True), appointment=held)
    entries = follow((), plan(booked))
    (change,) = describe_changes((), entries)
    assert change.sentence == (
        "Added: appointment on 2026-02-03 at 09:05 for pressure check (right eye)."
    )


def test_the_entry_with_most_checks_in_common_is_continued() -> None:
    before = follow(
        (), plan(visit(FEB, pressure(1, FEB), axis(1, FEB)), visit(MAR, pressure(2, MAR)))
    )
    joined = plan(visit(MAR, pressure(1, MAR), axis(1, MAR), pressure(2, MAR)))
    assert {e.uid: e.state for e in follow(before, joined)} == {
        before[0].uid: EntryState.LIVE,
        before[1].uid: EntryState.WITHDRAWN,
    }


def test_of_two_entries_with_as_many_checks_in_common_the_nearer_is_continued() -> None:
    before = follow((), plan(visit(FEB, pressure(1, FEB)), visit(MAR, pressure(2, MAR))))
    near = MAR - DAY
    after = follow(before, plan(visit(near, pressure(1, near), pressure(2, near))))
    assert [(e.uid, e.state) for e in after] == [
        (before[0].uid, EntryState.WITHDRAWN),
        (before[1].uid, EntryState.LIVE),
    ]


def test_a_visit_of_the_same_day_stays_the_same_trip_when_all_its_checks_change() -> None:
    before = follow((), plan(visit(FEB, pressure(1, FEB))))
    (after,) = follow(before, plan(visit(FEB, axis(4, FEB))))
    assert (after.uid, after.sequence) == (before[0].uid, 1)


def test_a_missed_visit_that_is_still_due_is_moved_and_not_settled() -> None:
    before = follow((), plan(visit(FEB, pressure(1, FEB))))
    catch_up = visit(MAR, pressure(1, FEB))
    (after,) = follow(before, plan(catch_up, today=FEB + 9 * DAY))
    assert (after.uid, after.state, after.on) == (before[0].uid, EntryState.LIVE, MAR)


def test_a_visit_whose_day_has_gone_is_settled_and_otherwise_as_it_was() -> None:
    before = follow((), plan(visit(FEB, pressure(1, FEB))))
    settled, added = follow(before, plan(visit(MAR, pressure(2, MAR)), today=FEB + DAY))
    assert settled == replace(before[0], state=EntryState.SETTLED)
    assert added.uid != settled.uid


def test_a_visit_made_today_is_settled_and_not_withdrawn() -> None:
    before = follow((), plan(visit(FEB, pressure(1, FEB))))
    settled, _ = follow(before, plan(visit(MAR, pressure(2, MAR)), today=FEB))
    assert settled == replace(before[0], state=EntryState.SETTLED)


def test_when_care_here_has_ended_the_days_to_come_are_withdrawn_today_included() -> None:
    before = follow(
        (),
        plan(
            visit(FEB, pressure(1, FEB)),
            visit(MAR, pressure(2, MAR)),
            occlusion=(span(MAR, MAR + 9 * DAY),),
        ),
    )
    after = follow(before, plan(today=FEB))
    assert {e.state for e in after} == {EntryState.WITHDRAWN}
    assert {e.sequence for e in after} == {1}


def test_a_withdrawn_visit_that_comes_back_is_a_new_entry() -> None:
    first = plan(visit(FEB, pressure(1, FEB)))
    before = follow((), first)
    gone = follow(before, plan())
    back = follow(gone, first)
    assert len(back) == 2
    assert {e.uid for e in gone} < {e.uid for e in back}


def test_two_appointments_on_one_day_that_settle_nothing_are_two_entries() -> None:
    extra = visit(FEB, booked=True)
    first, second = follow((), plan(extra, extra))
    assert first.uid != second.uid


def test_no_uid_shows_the_number_of_the_child() -> None:
    entries = follow((), plan(visit(FEB, pressure(1, FEB)), occlusion=(span(FEB, MAR),)))
    for entry in entries:
        assert CHILD.number not in entry.uid
        assert entry.uid.endswith("@rehab")


def test_two_children_with_the_same_plan_have_different_uids() -> None:
    ours = plan(visit(FEB, pressure(1, FEB)), occlusion=(span(FEB, MAR),))
    theirs = replace(ours, child=replace(CHILD, number="K-1048"))
    assert not {e.uid for e in follow((), ours)} & {e.uid for e in follow((), theirs)}


def test_a_derived_uid_does_not_confuse_where_one_part_ends() -> None:
    assert derived_uid("a", "bc") != derived_uid("ab", "c")


def test_longer_occlusion_is_the_same_entry_changed() -> None:
    before = follow((), plan(occlusion=(span(TODAY, FEB),)))
    (after,) = follow(before, plan(occlusion=(span(TODAY, MAR),), today=TODAY + DAY))
    assert (after.uid, after.sequence, after.until) == (before[0].uid, 1, MAR)
    assert after.changed_on == TODAY + DAY


def test_another_dose_from_the_same_day_is_the_same_entry_changed() -> None:
    before = follow((), plan(occlusion=(span(TODAY, FEB),)))
    (after,) = follow(before, plan(occlusion=(span(TODAY, FEB, minutes=120),)))
    assert (after.uid, after.sequence, after.minutes_per_day) == (before[0].uid, 1, 120)


def test_another_regimen_from_the_same_day_is_another_entry() -> None:
    before = follow((), plan(occlusion=(span(FEB, MAR),)))
    after = follow(before, plan(occlusion=(span(FEB, MAR, regimen="r2"),)))
    states = {e.uid: e.state for e in after}
    assert states.pop(before[0].uid) is EntryState.WITHDRAWN
    assert list(states.values()) == [EntryState.LIVE]


def test_occlusion_that_had_begun_and_is_no_longer_agreed_ends_before_today() -> None:
    before = follow((), plan(occlusion=(span(TODAY, MAR),)))
    (after,) = follow(before, plan(today=FEB))
    assert (after.state, after.start, after.until) == (EntryState.SETTLED, TODAY, FEB)
    assert (after.sequence, after.changed_on) == (1, FEB)


def test_occlusion_that_ran_to_its_end_is_settled_as_it_was() -> None:
    before = follow((), plan(occlusion=(span(TODAY, FEB),)))
    (after,) = follow(before, plan(today=FEB))
    assert after == replace(before[0], state=EntryState.SETTLED)


def test_occlusion_that_was_to_begin_today_is_withdrawn_and_not_cut_to_nothing() -> None:
    before = follow((), plan(occlusion=(span(FEB, MAR),)))
    (after,) = follow(before, plan(today=FEB))
    assert (after.state, after.sequence) == (EntryState.WITHDRAWN, 1)


def test_occlusion_that_was_withdrawn_in_error_comes_back_as_itself() -> None:
    agreed = plan(occlusion=(span(FEB, MAR),))
    before = follow((), agreed)
    (back,) = follow(follow(before, plan()), agreed)
    assert (back.uid, back.sequence, back.state) == (before[0].uid, 2, EntryState.LIVE)


def test_only_accepted_hours_up_to_the_next_review_reach_the_calendar() -> None:
    review = check(CheckKind.OCCLUSION, 1, FEB)
    proposed = replace(span(TODAY, MAR, regimen="r2"), accepted=False)
    entries = follow((), plan(visit(FEB, review), occlusion=(span(TODAY, MAR), proposed)))
    (hours,) = (e for e in entries if e.kind is EntryKind.OCCLUSION)
    assert hours.until == review.by + DAY


def changes(before: Plan, after: Plan) -> tuple[Change, ...]:
    old = follow((), before)
    return describe_changes(old, follow(old, after))


def test_a_kept_visit_is_said_to_be_kept() -> None:
    same = plan(visit(FEB, pressure(1, FEB)))
    (change,) = changes(same, same)
    assert change.kind is ChangeKind.KEPT
    assert change.sentence == (
        "Kept: visit on 2026-02-03 (any day from 2026-01-27 to 2026-02-10) "
        "for pressure check (right eye)."
    )


def test_a_moved_visit_is_described_with_both_days() -> None:
    (change,) = changes(
        plan(visit(FEB, pressure(1, FEB))), plan(visit(MAR, pressure(1, MAR), booked=True))
    )
    assert change.kind is ChangeKind.MOVED
    assert change.sentence == (
        "Moved: visit on 2026-02-03 (any day from 2026-01-27 to 2026-02-10) "
        "for pressure check (right eye); "
        "now appointment on 2026-03-03 for pressure check (right eye)."
    )


def test_another_dose_is_described_with_both_doses() -> None:
    (change,) = changes(
        plan(occlusion=(span(FEB, MAR),)), plan(occlusion=(span(FEB, MAR, minutes=120),))
    )
    assert change.kind is ChangeKind.MOVED
    assert change.sentence == (
        "Moved: occlusion of the left eye by adhesive patch, 3.5 h a day, 7 days a week, "
        "from 2026-02-03 to 2026-03-02; "
        "now occlusion of the left eye by adhesive patch, 2 h a day, 7 days a week, "
        "from 2026-02-03 to 2026-03-02."
    )


def test_what_was_added_and_withdrawn_is_said_once_and_what_is_over_is_not_said() -> None:
    first, second = plan(visit(FEB, pressure(1, FEB))), plan(visit(MAR, axis(2, MAR)))
    old = follow((), first)
    new = follow(old, second)
    assert [c.kind for c in describe_changes((), old)] == [ChangeKind.ADDED]
    assert [c.kind for c in describe_changes(old, new)] == [
        ChangeKind.WITHDRAWN,
        ChangeKind.ADDED,
    ]
    assert [c.kind for c in describe_changes(new, new)] == [ChangeKind.KEPT]
    over = follow(
        new, plan(visit(date(2026, 6, 1), axis(3, date(2026, 6, 1))), today=date(2026, 4, 1))
    )
    assert [c.kind for c in describe_changes(new, over)] == [ChangeKind.ADDED]


def test_occlusion_cut_today_is_described_with_its_new_end() -> None:
    old = follow((), plan(occlusion=(span(TODAY, MAR),)))
    (change,) = describe_changes(old, follow(old, plan(today=FEB)))
    assert change.kind is ChangeKind.MOVED
    assert change.sentence.endswith("from 2026-01-05 to 2026-02-02.")
