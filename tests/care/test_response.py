"""What a review proposes. Each check names its source; (seen) or (from memory) as in the tables."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from rehab.care.case import Eye, Method, Regimen
from rehab.care.regimen_life import State
from rehab.care.response import Action, propose
from rehab.care.review_facts import Look
from rehab.errors import RecordError
from rehab.measures.acuity import parse_acuity
from rehab.measures.fixation import Finding, Nystagmus
from tests.care.reviews import (
    LETTERS,
    PROTOCOL,
    STARTS,
    letters,
    look,
    proposed,
    review,
    rows,
    stopped,
    worn,
)

PLATEAU = (look(0, 0.5), look(6, 0.4), look(12, 0.4))


def test_two_hours_without_gain_for_six_weeks_go_up_to_six_hours() -> None:
    """PEDIG ATS15, Ophthalmology 2013;120:2270 (seen): to 42 hours a week, seen after 10 weeks."""
    raised = proposed(review(*PLATEAU))
    assert (raised.action, raised.minutes_per_day, raised.occluded_eye) == (
        Action.RAISE, 360, Eye.LEFT,
    )  # fmt: skip
    assert (raised.minutes_per_day or 0) * raised.days_per_week == 42 * 60
    assert "raise-to-6-hours" in rows(raised)
    # The better eye on 6 hours is looked at after 5 weeks, before the 10 weeks of the trial.
    assert raised.review_on == PLATEAU[-1].on + timedelta(weeks=5)


@pytest.mark.parametrize("percent", [25, 33, 50, 74])
def test_poor_wear_is_supported_before_hours_are_raised(percent: int) -> None:
    """Pooled monitored wear, IOVS 2013;54:6158 (seen): 44 % worn; the action is a judgement."""
    answer = proposed(review(*PLATEAU, worn=worn(percent)))
    assert (answer.action, answer.minutes_per_day) == (Action.SUPPORT_WEAR, 120)


def test_wear_that_nobody_counted_raises_nothing() -> None:
    """Orthoptists guessed 70 % where 52 % was measured (seen): a guess is not a count."""
    answer = proposed(review(*PLATEAU, worn=None))
    assert (answer.action, answer.minutes_per_day) == (Action.SUPPORT_WEAR, 120)


def test_slow_gain_with_poor_wear_lifts_the_wear_not_the_prescription() -> None:
    """Monitored patching, BMJ 2007;335:707 (seen in a news report): under 3 hours worn slower."""
    slow = review(look(0, 0.5), look(6, 0.4), minutes=360, age_months=72, worn=worn(25))
    assert (proposed(slow).action, proposed(slow).minutes_per_day) == (Action.SUPPORT_WEAR, 360)


def test_a_plateau_before_twelve_weeks_waits() -> None:
    """PEDIG ATS15 (seen): stable after at least 12 weeks of 2 hours."""
    early = proposed(review(look(0, 0.4), look(8, 0.4)))
    assert (early.action, rows(early)[2]) == (Action.CONTINUE, "plateau-too-early")


SINGLE = "single crowded letters"


@pytest.mark.parametrize(
    ("after", "row"), [(0.4, "gain-in-noise"), (0.3, "improved"), (0.5, "no-gain")]
)
def test_a_gain_inside_noise_continues_the_dose_and_changes_nothing(after: float, row: str) -> None:
    """Single crowded letters, Arch Ophthalmol 2001;119:1345 (seen): more than 0.18 is real."""
    looks = (
        Look(STARTS, letters(0.5, SINGLE), letters(0.0, SINGLE)),
        Look(STARTS + timedelta(weeks=5), letters(after, SINGLE), letters(0.0, SINGLE)),
    )
    answer = proposed(review(*looks))
    assert (answer.action, answer.minutes_per_day) == (Action.CONTINUE, 120)
    assert row in rows(answer)


def test_ten_letters_lost_are_repeated_and_when_lost_again_are_for_a_person() -> None:
    """Electronic letters, AJO 2003;136:655 (seen): 10 letters are beyond noise at 8 years."""

    def read(week: int, score: int) -> Look:
        on = STARTS + timedelta(weeks=week)
        return Look(on, parse_acuity(f"{score} letters (ETDRS)", test=LETTERS), letters(0.0))

    once = review(read(0, 58), read(6, 48), age_months=96)
    again = review(read(0, 58), read(6, 48), read(8, 48), age_months=96)
    assert (proposed(once).action, proposed(once).minutes_per_day) == (Action.LOOK_AGAIN, 120)
    assert proposed(once).review_on == once.review.on + timedelta(days=14)
    assert (proposed(again).action, proposed(again).minutes_per_day) == (Action.REFER, 120)
    assert "look for the cause" in proposed(again).to_decide


def test_a_bad_day_is_not_the_measure_of_the_next_gain() -> None:
    back = proposed(review(look(0, 0.4), look(6, 0.6), look(8, 0.4)))
    assert "improved" not in rows(back)


def test_a_slow_loss_is_found_although_each_step_lay_in_noise() -> None:
    drift = (look(0, 0.5, 0.0), look(6, 0.5, 0.1), look(12, 0.5, 0.2))
    assert proposed(review(*drift)).action is Action.STOP


# The better eye: topic page on amblyopia monitoring (seen) for two lines, squint and skin.
def test_a_better_eye_two_lines_worse_stops_occlusion_at_once_and_is_repeated() -> None:
    alarm = proposed(review(look(0, 0.5, 0.0), look(6, 0.4, 0.2)))
    assert (alarm.action, alarm.minutes_per_day, alarm.watch) == (Action.STOP, 0, True)
    assert alarm.review_on == STARTS + timedelta(weeks=7)
    again = proposed(review(look(0, 0.5, 0.0), look(6, 0.4, 0.2), look(7, 0.4, 0.2)))
    assert (again.action, rows(again)[1]) == (Action.STOP, "two-lines-confirmed")


def test_one_line_at_one_visit_is_noted_and_repeated_without_a_stop() -> None:
    """DICOM on clinic charts (seen): not more than one line is not read as real."""
    noted = proposed(review(*PLATEAU[:2], look(12, 0.4, 0.1)))
    assert (noted.action, noted.minutes_per_day) == (Action.LOOK_AGAIN, 120)
    assert "More hours wait" in noted.cautions[-1]
    assert noted.review_on is not None
    assert noted.review_on <= STARTS + timedelta(weeks=16)
    same = proposed(review(*PLATEAU[:2], look(12, 0.4, 0.1), look(14, 0.4, 0.1)))
    assert same.action is Action.RAISE


@pytest.mark.parametrize(
    ("told", "action", "minutes"),
    [
        ({"new_squint": Finding.YES}, Action.PAUSE, 0),
        ({"double_vision": Finding.YES}, Action.PAUSE, 0),
        ({"skin_reaction": Finding.YES}, Action.CHANGE_METHOD, 0),
        ({"new_squint": Finding.UNKNOWN}, Action.LOOK_AGAIN, 120),
        ({"double_vision": Finding.UNKNOWN}, Action.LOOK_AGAIN, 120),
    ],
)
def test_what_the_family_tells_comes_before_the_dose(
    told: dict[str, Finding], action: Action, minutes: int
) -> None:
    answer = proposed(replace(review(*PLATEAU), **told))  # type: ignore[arg-type]
    assert (answer.action, answer.minutes_per_day) == (action, minutes)


def test_the_eye_that_has_become_the_weaker_is_not_occluded() -> None:
    swapped = proposed(review(look(0, 0.2, 0.5)))
    assert (swapped.action, rows(swapped)[1]) == (Action.STOP, "now-the-weaker-eye")


def test_a_lost_grade_of_fixation_of_the_better_eye_pauses_until_it_is_measured() -> None:
    def fixing(week: int, grade: str) -> Look:
        return Look(STARTS + timedelta(weeks=week), parse_acuity("CSM"), parse_acuity(grade))

    facts = review(fixing(0, "CSM"), fixing(2, "CSNM"), minutes=None, age_months=10)
    assert (proposed(facts).action, rows(proposed(facts))[1]) == (Action.PAUSE, "fixation-worse")


def test_equal_vision_at_two_visits_tapers_and_the_last_step_stops_with_a_watch() -> None:
    """PEDIG ATS2C, J AAPOS 2004;8:420 (seen): to 2 hours first; 6, 4, 2 hours from memory."""
    equal = (look(0, 0.5), look(6, 0.1), look(12, 0.1))
    assert proposed(review(*equal[:2])).action is Action.CONTINUE
    steps = []
    minutes = 600
    while minutes:
        answer = proposed(review(*equal, minutes=minutes))
        assert answer.minutes_per_day is not None
        steps.append(minutes := answer.minutes_per_day)
    assert steps == [360, 240, 120, 0]
    assert (answer.action, answer.watch) == (Action.STOP, True)
    assert answer.review_on == equal[-1].on + timedelta(weeks=13)


def test_a_stop_from_six_hours_tells_the_risk_of_relapse() -> None:
    """PEDIG ATS2C (seen): 42 % after an abrupt stop from 6 to 8 hours, 14 % after a taper."""
    alarm = proposed(review(look(0, 0.5, 0.0), look(6, 0.4, 0.2), minutes=360))
    assert "42 % of children relapsed, tapered first 14 %" in alarm.cautions[-1]
    low = proposed(review(look(0, 0.5, 0.0), look(6, 0.4, 0.2), minutes=120))
    assert not low.cautions


def test_a_taper_is_held_by_a_loss_in_noise_and_goes_on_without_one() -> None:
    held = review(look(0, 0.1), look(4, 0.2), minutes=240, state=State.TAPERING)
    on = review(look(0, 0.1), look(4, 0.1), minutes=240, state=State.TAPERING)
    assert (proposed(held).action, proposed(held).minutes_per_day) == (Action.LOOK_AGAIN, 240)
    assert (proposed(on).action, proposed(on).minutes_per_day) == (Action.TAPER, 120)


AFTER_STOP = (look(0, 0.5), look(12, 0.3))


@pytest.mark.parametrize(
    ("later", "action"),
    [
        ((look(18, 0.5),), Action.LOOK_AGAIN),
        ((look(18, 0.5), look(20, 0.5)), Action.TREAT_AGAIN),
        ((look(18, 0.4),), Action.WATCH),
        ((look(18, 0.5), look(20, 0.3)), Action.WATCH),
        ((look(18, None),), Action.REFER),
        ((look(18, 0.3, 0.2),), Action.REFER),
        ((look(70, 0.3),), Action.END_WATCH),
    ],
)
def test_recurrence_is_two_lines_twice_and_gives_no_hours(
    later: tuple[Look, ...], action: Action
) -> None:
    """PEDIG ATS2C (seen): two levels worse than at the stop, confirmed."""
    answer = proposed(stopped(12, review(*AFTER_STOP, *later)))
    assert (answer.action, answer.minutes_per_day, answer.watch) == (action, 0, True)
    assert (answer.review_on is None) == (action is Action.END_WATCH)
    assert (action is Action.TREAT_AGAIN) == ("a person decides" in answer.to_decide)


@pytest.mark.parametrize(("week", "next_week"), [(14, 25), (24, 38), (40, 64)])
def test_the_watch_is_13_26_and_52_weeks_after_the_stop(week: int, next_week: int) -> None:
    """PEDIG ATS3, Arch Ophthalmol 2005;123:437 (seen): the trial's looks after stopping.

    The look at 12 weeks lies in the window of the one at 13, so the next is at 26.
    """
    answer = proposed(stopped(12, review(*AFTER_STOP, look(week, 0.3))))
    assert answer.review_on == STARTS + timedelta(weeks=next_week)


@pytest.mark.parametrize(
    ("more", "row"),
    [
        ({"laterality": "bilateral"}, "bilateral"),
        ({"age_months": 20}, "under-3"),
        ({"age_months": 100}, "raise-from-8-years"),
        ({"age_months": 170}, "raise-from-8-years"),
        ({"minutes": 360}, "raise-beyond-6-hours"),
        ({"minutes": None}, "by-age"),
        ({"nystagmus": Nystagmus.LATENT}, "latent-full-patch"),
    ],
)
def test_where_no_trial_speaks_a_person_decides_and_the_dose_stays(
    more: dict[str, object], row: str
) -> None:
    facts = review(*PLATEAU, **more)  # type: ignore[arg-type]
    answer = proposed(facts)
    assert (answer.action, answer.minutes_per_day) == (
        Action.REFER, facts.regimen.minutes_per_day,
    )  # fmt: skip
    assert row in rows(answer)
    assert "orthoptist" in answer.to_decide


def test_latent_nystagmus_leaves_a_method_that_keeps_both_eyes_open() -> None:
    """Common practice, no source."""
    told = proposed(review(*PLATEAU, nystagmus=Nystagmus.LATENT)).to_decide
    assert "can worsen latent nystagmus" in told
    assert "blurring filter, optical blur, or atropine" in told


def test_after_a_raise_a_plateau_changes_the_method_and_after_two_it_tapers() -> None:
    """Topic page on amblyopia monitoring (seen): switch, or taper when stable for 4 months."""
    one = Regimen("R-0", Eye.LEFT, Method.PATCH, 60, 7, date(2025, 1, 1), "S. Lindqvist", "")
    none = replace(one, id="R-00", minutes_per_day=30)
    once = proposed(review(*PLATEAU, previous=(one,)))
    twice = proposed(review(*PLATEAU, minutes=240, previous=(none, one)))
    assert (once.action, once.minutes_per_day) == (Action.CHANGE_METHOD, 120)
    assert (twice.action, twice.minutes_per_day) == (Action.TAPER, 120)


def test_a_paused_regimen_goes_on_only_by_a_person() -> None:
    answer = proposed(review(*PLATEAU, state=State.PAUSED))
    assert (answer.action, answer.minutes_per_day) == (Action.REFER, 0)
    assert answer.to_decide == "Occlusion rests: the orthoptist decides whether it goes on."


def test_different_tests_at_two_visits_are_repeated_with_the_same_test() -> None:
    """Pictures read about a line better than letters, BJO 2017;101:457 (seen)."""
    other = Look(STARTS + timedelta(weeks=6), letters(0.3, "crowded pictures"), letters(0.0))
    answer = proposed(review(look(0, 0.5), other))
    assert (answer.action, answer.minutes_per_day) == (Action.REFER, 120)
    assert answer.to_decide.endswith("repeat with the same test.")
    assert answer.review_on == other.on + timedelta(days=14)


def test_a_grating_and_letters_are_not_one_series() -> None:
    """Gratings overestimate letters in amblyopia (seen): 6 cycles a degree beside 0.40."""
    grating = parse_acuity("6 cpd", test="grating cards")
    answer = proposed(review(Look(STARTS, grating, letters(0.0)), look(6, 0.4)))
    assert (answer.action, rows(answer)[-3]) == (Action.REFER, "not-comparable")


@pytest.mark.parametrize(
    ("second", "told"),
    [
        (look(6, None), "The treated eye was not measured"),
        (look(6, 0.4, None), "The better eye was not measured"),
    ],
)
def test_an_eye_that_could_not_be_tested_is_for_a_person(second: Look, told: str) -> None:
    answer = proposed(review(look(0, 0.5), second))
    assert (answer.action, answer.minutes_per_day) == (Action.REFER, 120)
    assert answer.to_decide.startswith(told)


def test_the_interval_on_full_time_occlusion_at_one_year_is_a_week() -> None:
    """One week for each year of age: classic teaching, from memory."""
    full = review(look(0, 0.9), look(1, 0.9), minutes=630, age_months=13)
    answer = proposed(full)
    assert answer.review_on == full.review.on + timedelta(weeks=1)


def test_hours_beyond_the_waking_day_are_for_a_person() -> None:
    tired = review(look(0, 0.9), look(1, 0.9), minutes=480, age_months=30, sleep_hours_reported=17)
    answer = proposed(tired)
    assert (answer.action, answer.minutes_per_day) == (Action.REFER, 420)
    assert "480 minutes a day are more than the 420 that the child is awake" in answer.to_decide


def test_outside_the_ages_of_the_tables_a_person_decides_and_a_look_is_due() -> None:
    grown = review(look(0, 0.5), look(6, 0.3), age_months=240)
    answer = proposed(grown)
    assert (answer.action, answer.minutes_per_day) == (Action.REFER, 120)
    assert "age_months is 241, outside 0 to below 216" in answer.to_decide
    assert answer.review_on == grown.review.on + timedelta(days=14)


def test_an_infants_hours_by_age_go_on_by_fixation_with_a_caution() -> None:
    """Fixation may continue a treatment, and changes no dose: its grades misjudge many (seen)."""

    def fixing(week: int, grade: str) -> Look:
        return Look(STARTS + timedelta(weeks=week), parse_acuity(grade), parse_acuity("CSM"))

    by_age = review(fixing(0, "CSNM"), fixing(4, "CSM"), minutes=None, age_months=5)
    worse = review(fixing(0, "CSM"), fixing(4, "CSNM"), minutes=None, age_months=5)
    assert (proposed(by_age).action, proposed(by_age).minutes_per_day) == (Action.CONTINUE, None)
    assert "confirm with gratings or letters" in proposed(by_age).cautions[0]
    assert (proposed(worse).action, proposed(worse).minutes_per_day) == (Action.LOOK_AGAIN, None)


BAD = [
    (review(look(-2, 0.5)), "before the regimen began on 2026-01-05. Check both dates"),
    (review(), "no acuity is recorded. Measure both eyes"),
    (review(look(6, 0.5), look(0, 0.5)), "not in order of date"),
    (review(look(0, 0.5), state=State.PROPOSED), "there is nothing to review"),
    (review(look(0, 0.5), state=State.WATCHED), "had not stopped by the review"),
]


@pytest.mark.parametrize(("facts", "words"), BAD)
def test_a_review_that_cannot_be_is_refused(facts: object, words: str) -> None:
    with pytest.raises(RecordError, match=words):
        propose(facts, PROTOCOL, date(2026, 6, 1))  # type: ignore[arg-type]


def test_a_review_ahead_of_its_day_is_refused() -> None:
    with pytest.raises(RecordError, match="has not been yet"):
        propose(review(look(6, 0.5)), PROTOCOL, STARTS)
