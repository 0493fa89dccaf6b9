"""A family is told just what is no longer as the last letter said, and nothing else."""

import json
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rehab.care.case import (
    Appointment,
    Case,
    CheckKind,
    Eye,
    Method,
    Outcome,
    Prescription,
    Regimen,
)
from rehab.care.checks import Status
from rehab.care.diary import Site
from rehab.care.flags import Flag, Urgency
from rehab.care.plan import Plan
from rehab.care.visits import Visit
from rehab.errors import LetterError
from rehab.letters.changes import Changes, Told, told_from, told_record
from rehab.letters.facts import About, facts_of
from rehab.letters.home import Purpose
from rehab.settings import Clinic
from tests.letters.plans import (
    BECAUSE,
    CHILD,
    CLINIC,
    TODAY,
    check,
    day,
    letter_page,
    plan,
    span,
    visit,
    whole_plan,
)
from tests.letters.test_family import LETTERS, LOOK_FIRST, PROPOSED, text


def told_by(plan: Plan, clinic: Clinic = CLINIC, about: About | None = None) -> Told:
    return facts_of(plan, clinic, about or About()).told


def changes(
    before: Plan, now: Plan, *, about: About | None = None, clinic: Clinic = CLINIC
) -> Changes:
    about = replace(about or About(), told=told_by(before))
    found = facts_of(now, clinic, about).changes
    assert found is not None
    return found


def letter(before: Plan, now: Plan, *, clinic: Clinic = CLINIC, about: About | None = None) -> str:
    about = replace(about or About(), told=told_by(before))
    return text(letter_page(now, clinic, kind="changes", about=about))


def patched(minutes: int, until: int = 60) -> Plan:
    return plan(visit(30, check(CheckKind.OCCLUSION, 30)), occlusion=(span(-9, until, minutes),))


@pytest.mark.parametrize("told", LETTERS.values(), ids=LETTERS.keys())
def test_nothing_has_changed_where_nothing_did(told: Plan) -> None:
    assert not changes(told, told).any


@pytest.mark.parametrize("told", LETTERS.values(), ids=LETTERS.keys())
def test_what_was_told_comes_back_from_the_log_as_it_was(told: Plan) -> None:
    record = json.loads(json.dumps(told_record(told_by(told))))
    assert told_from(record) == told_by(told)


def test_other_hours_are_told_for_the_days_on_which_they_differ() -> None:
    said = letter(patched(60), patched(90))
    assert "We wrote to you on Tuesday, 3 February 2026." in said
    assert (
        "From: Tuesday, 3 February 2026 To: Thursday, 12 March 2026\n"
        "left eye: 1 hour every day\nleft eye: 1 hour 30 minutes every day" in said
    )
    assert "Cover this eye: left eye." in said
    assert "Nothing has changed for the visits." in said


def test_hours_that_are_no_longer_agreed_send_the_family_to_the_telephone() -> None:
    said = letter(patched(60), LOOK_FIRST)
    assert "left eye: 1 hour every day\nNothing agreed. Ring us first." in said
    assert "We must look at the eyes before patching goes on." in said


def test_the_same_hours_for_longer_are_told_as_new_days_only() -> None:
    short = plan(visit(9, check(CheckKind.OCCLUSION, 9)), occlusion=(span(-9, 60, 60),))
    [change] = changes(short, patched(60)).hours
    assert (change.start, change.last) == (day(17), day(37))
    assert change.before is None
    assert change.now is not None


@given(
    st.lists(st.sampled_from([None, 30, 60, 90]), min_size=30, max_size=30),
    st.lists(st.sampled_from([None, 30, 60, 90]), min_size=30, max_size=30),
)
def test_old_hours_with_their_changes_are_the_new_hours(
    before: list[int | None], now: list[int | None]
) -> None:
    """A law: who goes by the old letter and by this one goes by the new plan, day for day."""

    def of(doses: list[int | None]) -> Plan:
        spans = (span(n, n + 1, dose) for n, dose in enumerate(doses) if dose)
        return plan(occlusion=tuple(spans))

    known = dict(enumerate(before))
    for change in changes(of(before), of(now)).hours:
        for n in range((change.start - TODAY).days, (change.last - TODAY).days + 1):
            assert known[n] == (change.before.minutes_per_day if change.before else None)
            known[n] = change.now.minutes_per_day if change.now else None
    assert list(known.values()) == now


def test_a_visit_that_is_booked_now_or_on_another_day_is_told_beside_the_old_day() -> None:
    before = plan(visit(30, check(CheckKind.PRESSURE, 30)))
    now = plan(visit(27, check(CheckKind.PRESSURE, 30), booked=True))
    assert (
        "Eye pressure: right eye\nBest day: Thursday, 5 March 2026. "
        "Any clinic day from Thursday, 26 February 2026 to Thursday, 12 March 2026.\n"
        "Monday, 2 March 2026 Booked" in letter(before, now)
    )


def test_a_visit_that_is_gone_is_told_as_such() -> None:
    before = plan(
        visit(9, check(CheckKind.PRESSURE, 9), booked=True),
        visit(12, check(CheckKind.REFRACTION, 12), booked=True),
    )
    now = plan(visit(9, check(CheckKind.PRESSURE, 9), booked=True))
    assert (
        "Lens strength: right eye\nSunday, 15 February 2026 Booked\n"
        "The visit on Sunday, 15 February 2026 is no longer booked. "
        "Please do not come on that day.\nNo date yet. Please ring us if you are not sure."
        in letter(before, now)
    )
    assert "Eye pressure" not in letter(before, now)


def test_a_day_that_went_by_without_the_check_is_due_now() -> None:
    before = told_by(plan(visit(-6, check(CheckKind.PRESSURE, -6))))
    now = plan(visit(2, check(CheckKind.PRESSURE, 2, status=Status.OVERDUE)))
    found = facts_of(now, CLINIC, About(told=replace(before, on=day(-20)))).changes
    assert found is not None
    [change] = found.visits
    assert change.before is not None
    assert change.before.on == day(-6)
    said = text(letter_page(now, kind="changes", about=About(told=replace(before, on=day(-20)))))
    assert "\nDue now Please ring to book." in said


def test_a_check_that_is_due_stays_so_while_the_days_go_by() -> None:
    due = plan(visit(2, check(CheckKind.PRESSURE, 2, status=Status.OVERDUE)))
    told = told_by(due)
    later = plan(visit(5, check(CheckKind.PRESSURE, 2, late=20, status=Status.OVERDUE)))
    found = facts_of(replace(later, today=day(4)), CLINIC, About(told=told)).changes
    assert found is not None
    assert not found.any


def test_a_best_day_that_went_by_leaves_the_other_days_good() -> None:
    told = told_by(plan(visit(2, check(CheckKind.PRESSURE, 2))))
    moved = Visit(day(5), day(-5), day(9), (check(CheckKind.PRESSURE, 2),))
    found = facts_of(replace(plan(moved), today=day(4)), CLINIC, About(told=told)).changes
    assert found is not None
    assert not found.any


def test_other_days_for_a_visit_are_told_with_the_days() -> None:
    sooner = visit(30, check(CheckKind.PRESSURE, 30, late=2))
    assert (
        "to Thursday, 12 March 2026.\nBest day: Thursday, 5 March 2026. "
        "Any clinic day from Thursday, 26 February 2026 to Saturday, 7 March 2026."
        in letter(plan(visit(30, check(CheckKind.PRESSURE, 30))), plan(sooner))
    )


def test_a_visit_of_today_is_over_once_the_child_was_seen() -> None:
    before = plan(visit(0, check(CheckKind.PRESSURE, 0), booked=True))
    now = plan(visit(30, check(CheckKind.PRESSURE, 30)))
    came = Case(CHILD, appointments=(Appointment("a1", TODAY, Outcome.ATTENDED),))
    [after] = changes(before, now, about=About(case=came)).visits
    [still] = changes(before, now).visits
    assert after.before is None
    assert still.before is not None


def test_a_visit_that_a_letter_had_no_room_for_is_not_called_gone() -> None:
    first = [visit(n, check(CheckKind.PRESSURE, n)) for n in range(10, 60, 10)]
    late = visit(70, check(CheckKind.FUNDUS, 70))
    told, crowded = plan(*first[1:], late), plan(*first, late)
    assert [c for c in changes(told, crowded).visits if c.now is None] == []


def test_a_visit_too_far_off_for_a_letter_is_not_called_new() -> None:
    many = plan(
        *(visit(n, check(CheckKind.PRESSURE, n)) for n in range(10, 60, 10)),
        visit(70, check(CheckKind.FUNDUS, 70)),
    )
    assert not changes(many, many).any


def test_new_numbers_are_to_be_written_down() -> None:
    said = letter(whole_plan(), whole_plan(), clinic=replace(CLINIC, phone="555 0111"))
    assert "They have changed. Please write down the new ones.\nClinic: 555 0111" in said
    assert "Nothing has changed for patching." in said


def test_another_prescription_is_printed_as_it_was_written() -> None:
    written = Prescription("p1", TODAY, day(9), "1 drop, right eye", "Dr Vane")
    now = About(case=Case(CHILD, prescriptions=(written,)))
    assert "word for word:\n1 drop, right eye" in letter(whole_plan(), whole_plan(), about=now)


def test_a_prescription_that_no_longer_holds_sends_the_family_to_the_telephone() -> None:
    written = Prescription("p1", TODAY, day(9), "1 drop, right eye", "Dr Vane")
    before = told_by(whole_plan(), about=About(case=Case(CHILD, prescriptions=(written,))))
    said = text(letter_page(whole_plan(), kind="changes", about=About(told=before)))
    assert "The old note no longer holds. Please ring us and ask what to do." in said


@pytest.mark.parametrize(
    ("about", "what"),
    [
        (About(), "no letter that told the family its plan is in the log."),
        (
            About(told=told_by(whole_plan())),
            "nothing has changed since the last letter to the family.",
        ),
    ],
)
def test_without_a_change_or_an_older_letter_there_is_nothing_to_write(
    about: About, what: str
) -> None:
    with pytest.raises(LetterError) as refused:
        letter_page(whole_plan(), kind="changes", about=about)
    assert refused.value.what == what


def test_another_eye_of_a_check_is_a_change() -> None:
    before = plan(visit(30, check(CheckKind.PRESSURE, 30)))
    both = plan(
        visit(30, check(CheckKind.PRESSURE, 30), check(CheckKind.PRESSURE, 30, eye=Eye.LEFT))
    )
    [change] = changes(before, both).visits
    assert change.purposes == (Purpose(CheckKind.PRESSURE, tuple(Eye)),)
    assert change.eyes_before == (Eye.RIGHT,)
    assert "Eye pressure: both eyes\nright eye: Best day:" in letter(before, both)


def test_checks_of_one_visit_stand_in_one_row() -> None:
    two = check(CheckKind.PRESSURE, 9), check(CheckKind.REFRACTION, 9)
    assert "Eye pressure: right eye\nLens strength: right eye\nBest day:" in letter(
        plan(visit(9, *two)), plan(visit(12, *two, booked=True))
    )


def test_a_later_booking_that_is_gone_is_not_passed_over() -> None:
    soon = visit(9, check(CheckKind.PRESSURE, 9), booked=True)
    late = visit(40, check(CheckKind.PRESSURE, 40), booked=True)
    assert (
        "Eye pressure: right eye\nSunday, 15 March 2026 Booked\n"
        "The visit on Sunday, 15 March 2026 is no longer booked."
        in letter(plan(soon, late), plan(soon))
    )


def test_a_booking_that_stands_beside_a_sooner_visit_is_said_to_stand() -> None:
    late = visit(40, check(CheckKind.PRESSURE, 40), booked=True)
    soon = visit(9, check(CheckKind.PRESSURE, 9), booked=True)
    said = letter(plan(late), plan(soon, late))
    assert "Your booked visit: Thursday, 12 February 2026." in said
    assert "Your visit on Sunday, 15 March 2026 stays booked.\n" in said


def test_another_method_is_told_with_the_hours() -> None:
    filtered = plan(
        visit(30, check(CheckKind.OCCLUSION, 30)),
        occlusion=(span(-9, 60, 60, method=Method.FILTER),),
    )
    said = letter(patched(60), filtered)
    assert "1 hour every day patch on the skin\nleft eye: 1 hour every day blurring filter" in said
    assert "Never leave it on overnight." in said


def test_a_patch_that_was_proposed_and_is_no_more_is_told() -> None:
    said = letter(PROPOSED, plan(*PROPOSED.visits))
    assert "No patching is planned now. Please ask us before you use a patch." in said


def test_a_new_address_of_the_clinic_is_told() -> None:
    said = letter(whole_plan(), whole_plan(), clinic=replace(CLINIC, address="9 Quay"))
    assert "Our address is new\nQuillmoor Children's Eye Clinic 9 Quay" in said


DAYS_AHEAD = st.dictionaries(
    st.integers(0, 40), st.sets(st.sampled_from([CheckKind.PRESSURE, CheckKind.REVIEW]), max_size=2)
)


@given(DAYS_AHEAD, DAYS_AHEAD, st.sets(st.integers(0, 40)))
def test_old_bookings_with_their_changes_are_the_new_bookings(
    before: dict[int, set[CheckKind]], now: dict[int, set[CheckKind]], open_days: set[int]
) -> None:
    """A law: who goes by both letters keeps every booked day, and no other."""

    def of(bookings: dict[int, set[CheckKind]], unbooked: set[int]) -> Plan:
        def made(n: int, kinds: set[CheckKind], booked: bool) -> Visit:
            checks = tuple(check(kind, n) for kind in sorted(kinds))
            return Visit(day(n), day(n), day(n), checks, booked)

        visits = [made(n, kinds, True) for n, kinds in bookings.items()]
        visits += [made(n, {CheckKind.REVIEW}, False) for n in unbooked - bookings.keys()]
        return plan(*sorted(visits, key=lambda v: v.on))

    rows = changes(of(before, open_days), of(now, set())).visits
    days = {day(n) for n in before}
    days -= {row.before.on for row in rows if row.before and row.gone}
    days |= {row.now.on for row in rows if row.now and row.now.booked}
    assert days == {day(n) for n in now}


def test_a_finding_that_cannot_wait_is_a_change_of_its_own() -> None:
    flag = Flag(Eye.RIGHT, "The pressure is high.", Urgency.TODAY, TODAY, BECAUSE)
    found = replace(whole_plan(), flags=(flag,))
    assert changes(whole_plan(), found).urgent
    assert "about a finding. Please ring us today." in letter(whole_plan(), found)
    assert not changes(found, found).any
    assert not changes(found, whole_plan()).any


def test_another_place_at_the_same_hour_is_told_with_both_places() -> None:
    def at(session: str) -> Plan:
        held = Appointment("a1", day(9), Outcome.BOOKED, starts_minute=540, session=session)
        return plan(Visit(day(9), day(9), day(9), (), True, held))

    places = {"hill": Site("hill", "Hill Annex", "2 Pier Road"), "own": Site("own", CLINIC.name)}
    about = About(places=places)
    told = facts_of(at("hill"), CLINIC, about).told
    said = text(letter_page(at("own"), kind="changes", about=replace(about, told=told)))
    assert "Booked\nPlace: Hill Annex\n" in said
    assert f"Place: {CLINIC.name} {CLINIC.address}" in said


def test_a_stop_before_another_regimen_is_not_told_as_the_end() -> None:
    first = Regimen("r1", Eye.LEFT, Method.PATCH, 60, 7, day(-9), "S. Lindqvist", "a rest", day(10))
    second = replace(first, id="r2", starts=day(20), ends=None)
    resting = About(case=Case(CHILD, regimens=(first, second)))
    said = letter(patched(60), patched(60, until=10), about=resting)
    assert "Patching stops" not in said
    assert "Then we must look at the eyes before you go on." in said


def test_a_stop_that_was_decided_is_told_as_one() -> None:
    regimen = Regimen(
        "r1", Eye.LEFT, Method.PATCH, 60, 7, day(-9), "S. Lindqvist", "sight is equal", day(10)
    )
    stopped = About(case=Case(CHILD, regimens=(regimen,)))
    said = letter(patched(60), patched(60, until=10), about=stopped)
    assert "Patching stops after Thursday, 12 February 2026, as it was decided." in said
    assert "left eye: 1 hour every day\nno patch\n" in said
    assert "Ring us first" not in said
