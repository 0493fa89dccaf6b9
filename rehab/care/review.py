"""A review of occlusion gathered from the records: looks, wear, and what the family tells."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date, timedelta

from rehab.care.case import Case, CheckKind, Examination, Eye, Regimen
from rehab.care.facts import Moment, known_on, laterality, nystagmus, sleep_hours_reported
from rehab.care.facts import facts as facts_of
from rehab.care.occlusion import Span, minutes_on, occlusion
from rehab.care.proposals import START, KeptProposal
from rehab.care.regimen_life import State
from rehab.care.response import Action, Proposal, propose
from rehab.care.review_facts import WATCHING, Look, ReviewFacts, fellow_change, since_stop
from rehab.care.review_facts import treated_change as change_of_treated
from rehab.care.wear import WearDay, WearSummary, summary
from rehab.errors import RecordError, TableError
from rehab.measures.acuity import Acuity, parse_acuity
from rehab.measures.acuity_change import same_series
from rehab.measures.dates import Step
from rehab.measures.fixation import Fixation, write_fixation
from rehab.rules.protocol import Answer, Protocol
from rehab.rules.table import Outcome

ONE_DAY = timedelta(days=1)


def state_of(regimen: Regimen, on: date) -> State:
    """Where a regimen stands on a day; a stop leads into the watch at once."""
    if regimen.ends is not None and regimen.ends <= on:
        return State.WATCHED
    if regimen.starts > on:
        return State.ACCEPTED
    if regimen.paused_from is not None and regimen.paused_from <= on:
        return State.PAUSED
    return State.TAPERING if regimen.tapering else State.RUNNING


def begun(case: Case, on: date) -> Regimen | None:
    """The last regimen that began on or before `on`, running or stopped."""
    return next((r for r in reversed(case.regimens) if r.starts <= on), None)


def course_before(case: Case, regimen: Regimen) -> tuple[Regimen, ...]:
    """The regimens that led to this one without a day between, oldest first."""
    course: list[Regimen] = []
    for other in reversed([r for r in case.regimens if r.starts < regimen.starts]):
        follows = course[0] if course else regimen
        if other.ends != follows.starts or other.occluded_eye is not regimen.occluded_eye:
            break
        course.insert(0, other)
    return tuple(course)


def proposal_now(
    case: Case, wear: Sequence[WearDay], protocol: Protocol, today: date, horizon: date
) -> KeptProposal:
    """What the records ask for `today`; raises RecordError when nothing can be said.

    Without a regimen it is the first hours by age, else the answer to the last look.
    """
    later = [r for r in case.regimens if r.starts > today]
    if later:
        raise RecordError(
            f"{later[-1].id} is decided and begins on {later[-1].starts}.",
            where=case.child.number,
            do="Change it, or look at the child once it has begun.",
        )
    regimen = begun(case, today)
    if regimen is None:
        return _first(case, protocol, today, horizon)
    facts = gather(case, wear, protocol, today)
    return _kept(propose(facts, protocol, today), facts, today)


def gather(case: Case, wear: Sequence[WearDay], protocol: Protocol, today: date) -> ReviewFacts:
    """The facts of the last look, under the last regimen that has begun."""
    number, regimen = case.child.number, begun(case, today)
    if regimen is None:
        raise RecordError("no occlusion has begun.", where=number, do="Accept a regimen first.")
    before = course_before(case, regimen)
    treated = regimen.occluded_eye.fellow
    looks = looks_of(case, treated, (before[0] if before else regimen).starts, today)
    if not looks:
        raise RecordError("no acuity is recorded.", where=number, do="Measure both eyes.")
    on = looks[-1].on
    if regimen.decided_on is not None and regimen.starts <= on <= regimen.decided_on:
        raise RecordError(
            f"the decision of {regimen.decided_on} already rests on the look of {on}.",
            where=number,
            do="Examine the child again, then propose.",
        )
    then = known_on(case, on)
    moment = Moment(then, treated, on, regimen.starts, protocol)
    sleep = sleep_hours_reported(moment)
    told = next(e.symptoms for e in reversed(then.examinations) if e.on == on)
    return ReviewFacts(
        child=case.child,
        laterality=laterality(then),
        nystagmus=nystagmus(then),
        regimen=regimen,
        minutes_today=minutes_on(regimen, moment),
        state=state_of(regimen, today),
        looks=looks,
        worn=worn_of(then, regimen, wear, protocol, on),
        double_vision=told.double_vision,
        new_squint=told.new_squint,
        skin_reaction=told.skin_reaction,
        previous=before,
        sleep_hours_reported=sleep,
    )


def accepted_spans(case: Case, protocol: Protocol, until: date) -> tuple[Span, ...]:
    """The hours prescribed before `until`, whoever has looked since."""
    spans, _ = occlusion(case, protocol, until, until)
    return tuple(span for span in spans if span.accepted)


def worn_of(
    case: Case, regimen: Regimen, wear: Sequence[WearDay], protocol: Protocol, on: date
) -> WearSummary | None:
    """What was worn of one regimen before `on`; None when no day is recorded."""
    days = [day for day in wear if regimen.starts <= day.on <= on]
    spans = [s for s in accepted_spans(case, protocol, on) if s.regimen == regimen.id]
    if not days or not spans:
        return None
    moment = Moment(case, regimen.occluded_eye.fellow, on, regimen.starts, protocol)
    sleep = sleep_hours_reported(moment)
    return summary(days, spans, case.child, today=on, sleep_hours_reported=sleep)


def looks_of(case: Case, treated: Eye, since: date, until: date) -> tuple[Look, ...]:
    """The looks from the last one on or before `since`, each eye in the series of its last result.

    Where the last result is a measured acuity, earlier grades of fixation are left out: they are
    another measure and say nothing of its change. Another test stays, so that it is told.
    """
    seen = [e for e in case.examinations if e.on <= until and any(_results(e, eye) for eye in Eye)]
    before = [n for n, e in enumerate(seen) if e.on <= since]
    visits = seen[before[-1] if before else 0 :]
    if not visits:
        return ()
    both = zip(
        visits,
        _series([_results(e, treated) for e in visits]),
        _series([_results(e, treated.fellow) for e in visits]),
        strict=True,
    )
    looks = [Look(e.on, one, other) for e, one, other in both]
    return tuple(look for look in looks if look.treated or look.fellow or look.on == visits[-1].on)


def _results(examination: Examination, eye: Eye) -> tuple[Acuity, ...]:
    found = examination.of(eye)
    if found.acuities or found.fixation == Fixation():
        return found.acuities
    return (parse_acuity(write_fixation(found.fixation)),)


def _series(visits: Sequence[tuple[Acuity, ...]]) -> list[Acuity | None]:
    """One result of each visit: of the test of the last one that was used most before."""
    *earlier, last = visits
    if not last:
        return [*(results[0] if results else None for results in earlier), None]

    def used_before(result: Acuity) -> int:
        return sum(any(same_series(result, other) for other in r) for r in earlier)

    now = max(last, key=used_before)

    def comparable(results: tuple[Acuity, ...]) -> Acuity | None:
        alike = [r for r in results if same_series(now, r)]
        measured = [r for r in results if r.logmar is not None or now.logmar is None]
        return next(iter((*alike, *measured)), None)

    return [*(comparable(results) for results in earlier), now]


def found_in_words(facts: ReviewFacts) -> Iterator[str]:
    """What the proposal saw: acuities, changes, wear, symptoms and sleep."""
    for eye, now in (
        (facts.treated_eye, facts.review.treated),
        (facts.treated_eye.fellow, facts.review.fellow),
    ):
        seen = "not tested" if now is None else f"{now.written} ({now.test})"
        yield f"{eye} eye on {facts.review.on}: {seen}"
    of_treated = since_stop if facts.state in WATCHING else change_of_treated
    changes = (
        (facts.treated_eye, of_treated(facts)),
        (facts.treated_eye.fellow, fellow_change(facts.looks)),
    )
    for eye, judged in changes:
        why = f": {judged.change.why} ({judged.change.source})" if judged.change else ""
        yield f"{eye} eye: {judged.word}{why}"
    worn = facts.worn
    if worn is None:
        yield "wear: nothing recorded under this regimen"
    else:
        yield (
            f"wear: {worn.hours_worn:g} h worn of {worn.prescribed_minutes / 60:g} h prescribed, "
            f"{worn.days_recorded} of {worn.days_prescribed} days recorded, "
            f"adherence {worn.adherence_percent} to {worn.adherence_percent_recorded} %"
        )
    yield (
        f"double vision {facts.double_vision}, new squint {facts.new_squint}, "
        f"skin reaction {facts.skin_reaction}"
    )
    if facts.sleep_hours_reported is not None:
        yield f"sleep as the family reports: {facts.sleep_hours_reported:g} h in 24"


def _kept(made: Proposal, facts: ReviewFacts, today: date) -> KeptProposal:
    return KeptProposal(
        id="",
        on=facts.review.on,
        regimen=facts.regimen.id,
        action=made.action,
        occluded_eye=made.occluded_eye,
        minutes_per_day=made.minutes_per_day,
        days_per_week=made.days_per_week,
        starts=today,
        review_on=made.review_on,
        to_decide=made.to_decide,
        cautions=made.cautions,
        found=tuple(found_in_words(facts)),
        because=made.because,
    )


def _first(case: Case, protocol: Protocol, today: date, horizon: date) -> KeptProposal:
    spans, asked = occlusion(known_on(case, today), protocol, today, horizon)
    if not spans:
        raise RecordError(
            "no occlusion is proposed for this child today."
            + "".join(f" {problem.what}" for problem in asked),
            where=case.child.number,
            do=f"See why with: rehab plan show {case.child.number}",
        )
    first = spans[0]
    answer = review_answer(case, protocol, first.start, first.minutes_per_day)
    return KeptProposal(
        id="",
        on=today,
        regimen="",
        action=START,
        occluded_eye=first.eye,
        minutes_per_day=None,
        days_per_week=first.days_per_week,
        starts=first.start,
        review_on=_after(answer, first.start),
        found=(f"{first.hours_per_day:g} h a day at first, then by age",),
        because=(first.because, *((answer.because,) if answer else ())),
    )


def review_answer(case: Case, protocol: Protocol, on: date, minutes: int) -> Answer | None:
    """The row that says when a child on so many minutes is looked at; None outside its ages."""
    moment = Moment(case, Eye.RIGHT, on, on, protocol)
    names = [name for name, _ in protocol.edition(CheckKind.OCCLUSION, on).table.inputs]
    asked = {**facts_of(moment, names), "minutes_per_day": minutes}
    try:
        answer = protocol.ask(CheckKind.OCCLUSION, on, asked)
    except TableError:
        return None
    return answer if answer.outcome is Outcome.THEN else None


def review_due(case: Case, protocol: Protocol, on: date, minutes: int) -> date | None:
    return _after(review_answer(case, protocol, on, minutes), on)


def _after(answer: Answer | None, on: date) -> date | None:
    if answer is None:
        return None
    every = answer.number("every")
    return (Step(months=every) if answer.word("unit") == "months" else Step(days=every)).after(on)


def same_content(one: KeptProposal, other: KeptProposal) -> bool:
    """Whether two proposals say the same on the same findings, whenever each was made."""
    return _content(one) == _content(other)


def _content(proposal: KeptProposal) -> KeptProposal:
    plain = replace(proposal, id="", review_on=None, words="")
    if proposal.action == START:
        return replace(plain, on=date.min, starts=date.min, because=(), found=())
    return replace(plain, starts=date.min)


ACTS = (Action.REFER, Action.CHANGE_METHOD, Action.TREAT_AGAIN)


def needs_own_terms(proposal: KeptProposal) -> bool:
    """Whether the proposal leaves the terms to a person, so that nothing in it can be accepted."""
    return proposal.action in ACTS
