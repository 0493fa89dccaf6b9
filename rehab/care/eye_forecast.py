"""The forecast of one eye as recorded: its refractions and the tables' answers about them."""

from datetime import date

from rehab.care.facts import Moment, facts
from rehab.care.forecast import (
    Forecast,
    GrowthPrior,
    Observation,
    Tolerance,
    forecast,
    holds_on,
)
from rehab.care.history import AFTER, surgeries_of
from rehab.care.problems import Problem, referral
from rehab.measures.dates import completed_months
from rehab.measures.refraction import spherical_equivalent_dioptres
from rehab.rules.protocol import Answer
from rehab.rules.table import Outcome


def eye_forecast(moment: Moment) -> Forecast | Problem:
    """What is known of the eye on this day, or the referral where no growth rate was published.

    Raises MeasureError for an eye not refracted since its lens was last changed, TableError for a
    phakic one.
    """
    answer = _ask(moment, "refraction_growth")
    if answer.outcome is not Outcome.THEN:
        return referral(answer, moment.eye, moment.on)
    prior = GrowthPrior(
        answer.number("rate_tenths") / 10,
        answer.number("deviation_tenths") / 10,
        answer.because.citation,
    )
    return forecast(moment.case.child.date_of_birth, observations(moment), prior)


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
