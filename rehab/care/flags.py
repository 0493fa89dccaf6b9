"""Flags: findings of the last examinations that a person should act on, and how soon."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from rehab.care.case import Case, Correction, Examination, Eye, LensStatus, VisualAxis
from rehab.care.facts import correction_since, known_on, latest_findings
from rehab.care.history import lens_removal, lens_status, surgeries_of
from rehab.measures.dates import Step, completed_months
from rehab.measures.eye_size import write_axial_length, write_corneal_diameter
from rehab.rules.protocol import Answer, Because, Protocol
from rehab.rules.table import Outcome

NOT_OPERATED = "not operated"
# Small corneas carried four times the odds of glaucoma (Bothun 2020, Ophthalmology 127).
_SMALL = "Glaucoma follows more often in small eyes: weigh closer pressure checks."


class Urgency(StrEnum):
    """How soon someone must act, soonest first."""

    TODAY = "today"
    THIS_WEEK = "this week"
    NEXT_VISIT = "next visit"

    @property
    def rank(self) -> int:
        return tuple(Urgency).index(self)


@dataclass(frozen=True, slots=True)
class Flag:
    """`sentence` as a clinician would write it; `on` is the day of the finding."""

    eye: Eye
    sentence: str
    urgency: Urgency
    on: date
    because: Because


def flags(case: Case, protocol: Protocol, today: date) -> tuple[Flag, ...]:
    """The flags of each eye's latest findings, most urgent first.

    Ages are counted from birth, also after preterm birth: a small eye is then flagged too early
    rather than not at all.
    """
    known = known_on(case, today)
    found = (
        flag
        for eye in Eye
        for flag in (
            *_pressure(known, eye, protocol),
            *_cornea(known, eye, protocol),
            *_axial_length(known, eye, protocol),
            *_visual_axis(known, eye, protocol),
            *_uncorrected(known, eye, protocol, today),
        )
    )
    return tuple(sorted(found, key=lambda f: (f.urgency.rank, f.eye != Eye.RIGHT, f.on)))


def pressure_sentence(answer: Answer) -> str:
    """What a pressure means and whom to tell, as the table says."""
    if answer.outcome is not Outcome.THEN:
        return answer.why
    urgency = answer.word("urgency")
    when = urgency if urgency != Urgency.NEXT_VISIT else "at the next visit"
    return (
        f"It is {answer.word('finding')}: consider {answer.word('consider')}. "
        f"Tell {answer.word('call')} {when}."
    )


def small_cornea_sentence(tenths_mm: int, answer: Answer) -> str:
    """What `microcornea` says of a diameter; nothing when it is not small."""
    if answer.outcome is not Outcome.THEN:
        return _referred(answer)
    below = answer.number("below_tenths_mm")
    if tenths_mm >= below:
        return ""
    return f"It is below {write_corneal_diameter(below)} (microcornea). {_SMALL}"


def large_cornea_sentence(tenths_mm: int, answer: Answer) -> str:
    """What `large_cornea` says of a diameter; nothing when it is not large."""
    if answer.outcome is not Outcome.THEN:
        return _referred(answer)
    least = answer.number("from_tenths_mm")
    if tenths_mm < least:
        return ""
    return (
        f"It is {write_corneal_diameter(least)} or more. A large cornea may be a sign of glaucoma: "
        "measure the pressure and look at the optic disc."
    )


def small_eye_sentence(hundredths_mm: int, answer: Answer) -> str:
    """What `microphthalmos` says of an axial length; nothing when it is not small."""
    if answer.outcome is not Outcome.THEN:
        return _referred(answer)
    below = answer.number("below_hundredths_mm")
    if hundredths_mm >= below:
        return ""
    significant = hundredths_mm < answer.number("significant_below_hundredths_mm")
    named = "significant microphthalmos" if significant else "microphthalmos"
    return f"It is below {write_axial_length(below)} ({named}). {_SMALL}"


def _referred(answer: Answer) -> str:
    return answer.why if answer.outcome is Outcome.REFER else ""


def _pressure(case: Case, eye: Eye, protocol: Protocol) -> Iterator[Flag]:
    latest = latest_findings(case, eye, lambda f: f.pressure is not None)
    if latest is None or latest[1].pressure is None:
        return
    examination, pressure = latest[0], latest[1].pressure
    operated = [s.on for s in surgeries_of(case, eye) if s.on <= examination.on]
    since = (examination.on - operated[-1]).days if operated else NOT_OPERATED
    answer = protocol.ask(
        "pressure_flag",
        examination.on,
        {"pressure_mmhg": pressure.pressure_mmhg, "days_since_surgery": since},
    )
    if answer.outcome is Outcome.NOTHING:
        return
    told = answer.outcome is Outcome.THEN
    after = f", {since} days after surgery" if operated else ""
    yield _flag(
        eye,
        f"The pressure of the {eye} eye was {pressure.pressure_mmhg} mmHg on "
        f"{examination.on}{after}. {pressure_sentence(answer)}",
        Urgency(answer.word("urgency")) if told else Urgency.THIS_WEEK,
        examination,
        answer,
    )


def _visual_axis(case: Case, eye: Eye, protocol: Protocol) -> Iterator[Flag]:
    latest = latest_findings(case, eye, lambda f: f.visual_axis is not VisualAxis.UNKNOWN)
    if latest is None or lens_removal(case, eye) is None:
        return
    examination, found = latest
    answer = protocol.ask("visual_axis_flag", examination.on, {"visual_axis": found.visual_axis})
    if answer.outcome is Outcome.THEN:
        yield _flag(
            eye,
            f"The visual axis of the {eye} eye was {found.visual_axis} on {examination.on}: "
            "tell the surgeon, who decides whether it must be cleared.",
            Urgency(answer.word("urgency")),
            examination,
            answer,
        )


def _uncorrected(case: Case, eye: Eye, protocol: Protocol, today: date) -> Iterator[Flag]:
    removal = lens_removal(case, eye)
    if removal is None or lens_status(case, eye, today) is not LensStatus.APHAKIC:
        return
    worn = correction_since(case, eye)[0]
    answer = protocol.ask(
        "uncorrected_aphakia",
        today,
        {"days_since_surgery": (today - removal.on).days, "correction": worn},
    )
    if answer.outcome is Outcome.THEN:
        said = "wears no correction" if worn is Correction.NONE else "is not known to wear one"
        yield Flag(
            eye,
            f"The {eye} eye is aphakic since {removal.on} and {said}: without a contact lens or "
            "glasses it cannot learn to see.",
            Urgency(answer.word("urgency")),
            today,
            answer.because,
        )


def _cornea(case: Case, eye: Eye, protocol: Protocol) -> Iterator[Flag]:
    latest = latest_findings(case, eye, lambda f: f.corneal_diameter_tenths_mm is not None)
    if latest is None or latest[1].corneal_diameter_tenths_mm is None:
        return
    examination, tenths = latest[0], latest[1].corneal_diameter_tenths_mm
    said = (
        f"The cornea of the {eye} eye measured {write_corneal_diameter(tenths)} on "
        f"{examination.on}, at {_aged(case, examination)}. "
    )
    small = _ask_age(case, "microcornea", examination, protocol)
    sentence = small_cornea_sentence(tenths, small)
    if sentence:
        yield _flag(eye, said + sentence, Urgency.NEXT_VISIT, examination, small)
    large = _ask_age(case, "large_cornea", examination, protocol)
    sentence = large_cornea_sentence(tenths, large)
    if sentence:
        yield _flag(eye, said + sentence, Urgency.THIS_WEEK, examination, large)


def _axial_length(case: Case, eye: Eye, protocol: Protocol) -> Iterator[Flag]:
    latest = latest_findings(case, eye, lambda f: f.axial_length_hundredths_mm is not None)
    if latest is None or latest[1].axial_length_hundredths_mm is None:
        return
    examination, hundredths = latest[0], latest[1].axial_length_hundredths_mm
    answer = _ask_age(case, "microphthalmos", examination, protocol)
    sentence = small_eye_sentence(hundredths, answer)
    if sentence:
        yield _flag(
            eye,
            f"The axial length of the {eye} eye was {write_axial_length(hundredths)} on "
            f"{examination.on}, at {_aged(case, examination)}. {sentence}",
            Urgency.NEXT_VISIT,
            examination,
            answer,
        )


def _age_months(case: Case, examination: Examination) -> int:
    return completed_months(case.child.date_of_birth, examination.on)


def _aged(case: Case, examination: Examination) -> str:
    return f"the age of {Step(months=_age_months(case, examination))}"


def _ask_age(case: Case, decision: str, examination: Examination, protocol: Protocol) -> Answer:
    return protocol.ask(decision, examination.on, {"age_months": _age_months(case, examination)})


def _flag(
    eye: Eye, sentence: str, urgency: Urgency, examination: Examination, answer: Answer
) -> Flag:
    return Flag(eye, sentence, urgency, examination.on, answer.because)
