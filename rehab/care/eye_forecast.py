"""The forecast of one eye as recorded: its refractions and the tables' answers about them."""

from dataclasses import dataclass
from datetime import date

from rehab.care.case import Case, Correction, Eye
from rehab.care.facts import Moment, correction_since, facts
from rehab.care.flags import Flag, Urgency
from rehab.care.forecast import (
    Forecast,
    GrowthPrior,
    Observation,
    Tolerance,
    Worn,
    faster_than_expected,
    forecast,
    holds_on,
    next_refraction,
)
from rehab.care.history import AFTER, lens_removal, surgeries_of
from rehab.care.problems import Problem, ProblemKind, referral
from rehab.errors import MeasureError, RehabError
from rehab.measures.dates import completed_months
from rehab.measures.refraction import spherical_equivalent_dioptres, to_corneal_plane
from rehab.rules.protocol import Answer, Protocol
from rehab.rules.table import Outcome

VERTEX_MM = 12


@dataclass(frozen=True, slots=True)
class Expectation:
    """What is expected of one eye, what it wears, and how far that may be off.

    The records hold which kind of correction an eye wears, not its power: `worn` is taken to be
    what the last refraction asked for, without any near addition.
    """

    forecast: Forecast
    observations: tuple[Observation, ...]
    worn: Worn
    tolerance: Tolerance

    @property
    def last_on(self) -> date:
        return self.observations[-1].on

    def next_between(self, earliest: date, latest: date) -> tuple[date, str]:
        """The day to refract next, `latest` at the latest, and in words how it follows."""
        threshold = self.tolerance.threshold_dioptres
        off = f"what it has worn since {self.last_on} is off by more than {threshold:g} D"
        if not holds_on(self.forecast.born, latest):
            return latest, "beyond the ages of the forecast"
        on = next_refraction(self.forecast, self.worn, self.tolerance, earliest, latest)
        chance = self.forecast.chance_off_by_more_than(on, self.worn, threshold)
        if chance < self.tolerance.chance:
            return latest, f"not brought forward: the chance that {off} is {chance:.0%} by {latest}"
        return on, f"by forecast {on}, when the chance that {off} reaches {chance:.0%}"


def expectation(moment: Moment) -> Expectation | Problem:
    """The forecast of the eye and what it wears, or the referral of a table in their place.

    Raises MeasureError for an eye not refracted since its lens was last changed, TableError for a
    phakic one.
    """
    if (shift := _shift_flag(moment)) is not None:
        return Problem(
            ProblemKind.REFER,
            "faster_shift",
            f"{shift.sentence} No forecast is made until that is settled.",
            "A clinician decides.",
            moment.eye,
            shift.because,
        )
    expected, accepted = eye_forecast(moment), tolerance(moment)
    if isinstance(expected, Problem):
        return expected
    if isinstance(accepted, Problem):
        return accepted
    return Expectation(expected, observations(moment), _worn(moment), accepted)


def dating(moment: Moment) -> Expectation | None:
    """The expectation where it may date the next refraction; None where the table's date holds."""
    try:
        found = expectation(moment)
    except RehabError:
        return None
    return found if isinstance(found, Expectation) else None


def shift_flags(case: Case, protocol: Protocol, today: date) -> tuple[Flag, ...]:
    """Eyes whose last refraction lies below the band that their earlier ones gave."""
    operated = [(eye, surgery) for eye in Eye if (surgery := lens_removal(case, eye))]
    moments = (Moment(case, eye, today, surgery.on, protocol) for eye, surgery in operated)
    return tuple(flag for moment in moments if (flag := _shift_flag(moment)) is not None)


def _shift_flag(moment: Moment) -> Flag | None:
    seen = observations(moment)
    if len(seen) < 2 or isinstance(prior := _prior(moment), Problem):
        return None
    answer = _ask(moment, "faster_shift")
    urgency = Urgency(answer.word("urgency"))
    try:
        before = forecast(moment.case.child.date_of_birth, seen[:-1], prior)
        faster = faster_than_expected(before, seen[-1], answer.number("band_percent") / 100)
    except MeasureError as error:
        # Refractions that no eye grows by: a slip of the pen, or an eye to look at.
        sentence = f"The refractions of the {moment.eye} eye do not fit an eye: {error.what}"
        return Flag(moment.eye, f"{sentence} {error.do}", urgency, seen[-1].on, answer.because)
    if faster is None:
        return None
    return Flag(moment.eye, faster.sentence, urgency, seen[-1].on, answer.because)


def _worn(moment: Moment) -> Worn:
    """What the last refraction asked for, where the correction sits."""
    correction = correction_since(moment.case, moment.eye)[0]
    refraction = next(
        found
        for examination in reversed(moment.case.examinations)
        if (found := examination.of(moment.eye).refraction) is not None
        and examination.on <= moment.on
    )
    if correction is Correction.CONTACT_LENS:
        refraction = to_corneal_plane(refraction, VERTEX_MM)
    return Worn(correction, spherical_equivalent_dioptres(refraction))


def eye_forecast(moment: Moment) -> Forecast | Problem:
    """What is known of the eye on this day, or the referral where no growth rate was published.

    Raises MeasureError for an eye not refracted since its lens was last changed, TableError for a
    phakic one.
    """
    prior = _prior(moment)
    if isinstance(prior, Problem):
        return prior
    return forecast(moment.case.child.date_of_birth, observations(moment), prior)


def _prior(moment: Moment) -> GrowthPrior | Problem:
    answer = _ask(moment, "refraction_growth")
    if answer.outcome is not Outcome.THEN:
        return referral(answer, moment.eye, moment.on)
    return GrowthPrior(
        answer.number("rate_tenths") / 10,
        answer.number("deviation_tenths") / 10,
        answer.because.citation,
    )


def observations(moment: Moment) -> tuple[Observation, ...]:
    """The refractions of the eye as its lens is now, at ages for which the model holds.

    One on the day of the operation is left out: the eye has not settled.
    """
    born = moment.case.child.date_of_birth
    since = _lens_since(moment)
    return tuple(
        Observation(
            examination.on,
            spherical_equivalent_dioptres(refraction),
            _noise_dioptres(moment, completed_months(born, examination.on), examination.on),
        )
        for examination in moment.case.examinations
        if (refraction := examination.of(moment.eye).refraction) is not None
        and since < examination.on <= moment.on
        and holds_on(born, examination.on)
    )


def tolerance(moment: Moment) -> Tolerance | Problem:
    """How far what the eye wears may be off at its age, or the referral when nothing is worn."""
    answer = _ask(moment, "refraction_tolerance")
    if answer.outcome is not Outcome.THEN:
        return referral(answer, moment.eye, moment.on)
    chance = _ask(moment, "refraction_chance").number("chance_percent")
    return Tolerance(answer.number("threshold_quarters") / 4, chance / 100)


def _lens_since(moment: Moment) -> date:
    """The day of the last operation that changed the lens; `date.min` when none did."""
    changed = (
        surgery.on
        for surgery in surgeries_of(moment.case, moment.eye)
        if surgery.procedure in AFTER and surgery.on <= moment.on
    )
    return max(changed, default=date.min)


def _noise_dioptres(moment: Moment, age_months: int, on: date) -> float:
    answer = moment.protocol.ask("refraction_noise", on, {"age_months": age_months})
    return answer.number("deviation_hundredths") / 100


def _ask(moment: Moment, decision: str) -> Answer:
    table = moment.protocol.edition(decision, moment.on).table
    return moment.protocol.ask(
        decision, moment.on, facts(moment, (name for name, _ in table.inputs))
    )
