"""Comments on the refraction aimed at with an implant, from published tables.

A comment is about a target that a surgeon has recorded. It never proposes one, nor an implant.
"""

from dataclasses import dataclass
from datetime import date

from rehab.care.case import Case, Surgery
from rehab.measures.dates import completed_months
from rehab.measures.refraction import write_power
from rehab.rules.protocol import Answer, Because, Protocol
from rehab.rules.table import Outcome

# The published tables by the names they go by; each is a decision of the protocol.
RESIDUAL_REFRACTION = {
    "Wilson": "residual_refraction_wilson",
    "Enyedi": "residual_refraction_enyedi",
    "Plager": "residual_refraction_plager",
    "Crouch": "residual_refraction_crouch",
    "Infant Aphakia Treatment Study": "residual_refraction_iats",
    "Weakley, plano at 5 years": "residual_refraction_weakley",
}


# Others chose the implant by its power alone, so much weaker than for plano.
WEAKER_IMPLANT = {
    "Dahan and Drusedau": "weaker_implant_dahan",
    "a series in Bangkok": "weaker_implant_ramathibodi",
}


@dataclass(frozen=True, slots=True)
class Published:
    """What one table says for an age at surgery, in words; `silent` when it has no answer."""

    name: str
    says: str
    because: Because
    silent: bool = False


@dataclass(frozen=True, slots=True)
class PublishedTarget(Published):
    """The residual refraction that one table aims at, None when it is silent."""

    lowest_quarters: int | None = None
    highest_quarters: int | None = None


@dataclass(frozen=True, slots=True)
class TargetComment:
    surgery: Surgery
    sentence: str
    published: tuple[PublishedTarget, ...]


def write_range(lowest_quarters: int, highest_quarters: int) -> str:
    lowest, highest = write_power(lowest_quarters), write_power(highest_quarters)
    return lowest if lowest == highest else f"{lowest} to {highest}"


def published_targets(
    protocol: Protocol, on: date, *, age_days: int, age_months: int
) -> tuple[PublishedTarget, ...]:
    """What each table says for this age at surgery, by the editions in force on `on`."""
    asked = {"age_at_surgery_days": age_days, "age_at_surgery_months": age_months}
    return tuple(
        _published(protocol, on, name, decision, asked)
        for name, decision in RESIDUAL_REFRACTION.items()
    )


def _published(
    protocol: Protocol, on: date, name: str, decision: str, asked: dict[str, int]
) -> PublishedTarget:
    answer = protocol.ask(decision, on, asked)
    if answer.outcome is not Outcome.THEN:
        return PublishedTarget(name, answer.why, answer.because, silent=True)
    lowest, highest = answer.number("lowest_quarters"), answer.number("highest_quarters")
    said = write_range(lowest, highest)
    return PublishedTarget(name, said, answer.because, False, lowest, highest)


def weaker_implants(protocol: Protocol, on: date, *, age_months: int) -> tuple[Published, ...]:
    """By how much weaker than for plano implants were chosen, told beside other targets."""
    return tuple(
        _weaker(name, protocol.ask(decision, on, {"age_at_surgery_months": age_months}))
        for name, decision in WEAKER_IMPLANT.items()
    )


def _weaker(name: str, answer: Answer) -> Published:
    if answer.outcome is not Outcome.THEN:
        return Published(name, answer.why, answer.because, silent=True)
    percent, quarters = answer.number("weaker_percent"), answer.number("weaker_quarters")
    said = f"{percent} % weaker" if percent else f"{quarters / 4:.2f} D weaker"
    return Published(name, said, answer.because)


def comment(target_quarters: int, published: tuple[PublishedTarget, ...]) -> str:
    """Where a recorded target lies beside all that is published for the age at surgery."""
    aims = [
        (p.lowest_quarters, p.highest_quarters)
        for p in published
        if p.lowest_quarters is not None and p.highest_quarters is not None
    ]
    target = write_power(target_quarters)
    if not aims:
        return f"{target}: no published table speaks of this age at surgery."
    lowest, highest = min(low for low, _ in aims), max(high for _, high in aims)
    span = write_range(lowest, highest)
    if target_quarters < lowest:
        return f"{target} leaves less hyperopia than the published range ({span})."
    if target_quarters > highest:
        return f"{target} leaves more hyperopia than the published range ({span})."
    return f"{target} is within the published range ({span})."


def target_comments(case: Case, protocol: Protocol) -> tuple[TargetComment, ...]:
    """A comment on each recorded target, by the editions in force on the day of its surgery."""
    return tuple(
        _commented(case, surgery, surgery.target_quarters, protocol)
        for surgery in case.surgeries
        if surgery.target_quarters is not None
    )


def _commented(case: Case, surgery: Surgery, target: int, protocol: Protocol) -> TargetComment:
    born = case.child.date_of_birth
    published = published_targets(
        protocol,
        surgery.on,
        age_days=(surgery.on - born).days,
        age_months=completed_months(born, surgery.on),
    )
    return TargetComment(surgery, comment(target, published), published)
