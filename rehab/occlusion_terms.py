"""The terms of occlusion that somebody is about to set: checked, then written."""

from dataclasses import dataclass, replace
from datetime import date, timedelta

from rehab.care.case import Case, Dose, Eye, Method, Regimen
from rehab.care.changes import Change, ChangeKind, describe_changes
from rehab.care.facts import Moment, correction_since, sleep_hours_reported, weaker_eye
from rehab.care.history import check_regimen, lens_status
from rehab.care.occlusion import minutes_on
from rehab.care.proposals import Decision, KeptProposal
from rehab.care.regimen_life import (
    Acceptance,
    Life,
    Person,
    Role,
    State,
    Turn,
    advance,
    check_acceptance,
)
from rehab.care.review import begun, proposal_now, review_due, state_of
from rehab.care.wear import awake_minutes
from rehab.errors import RecordError
from rehab.measures.dates import add_months
from rehab.measures.fixation import Finding
from rehab.store.store import Stamp, Transaction
from rehab.workflow import Desk, refresh_within

ALL_DAYS = 7


@dataclass(frozen=True, slots=True)
class Asked:
    """Who acts, on which day, and what they set themselves; None or "" leaves it as it is.

    `seen` is how many versions of regimens the child had when the person looked.
    """

    today: date
    stamp: Stamp
    on: date | None = None
    minutes_per_day: int | None = None
    by_age: bool = False
    days_per_week: int | None = None
    method: Method | None = None
    eye: Eye | None = None
    review_on: date | None = None
    near_activity: str = ""
    prescriber: str = ""
    taper: bool = False
    seen: int | None = None


@dataclass(frozen=True, slots=True)
class Decided:
    """The record that holds the decision, and what the family must be told again."""

    key: str
    said: str
    changes: tuple[Change, ...]


@dataclass(frozen=True, slots=True)
class Work:
    """One decision in its transaction."""

    desk: Desk
    tx: Transaction
    number: str
    asked: Asked

    def __post_init__(self) -> None:
        now = self.tx.count_versions(self.number, Regimen)
        if self.asked.seen not in (None, now):
            raise RecordError(
                f"the course was changed by someone else: it is at version {now}; you saw version "
                f"{self.asked.seen}.",
                where=self.number,
                do=f"Look at it again with: rehab occlusion show {self.number}",
            )

    @property
    def case(self) -> Case:
        return self.tx.case(self.number)

    @property
    def on(self) -> date:
        return self.asked.on or self.asked.today

    def proposal(self) -> KeptProposal | None:
        """The proposal that waits for a person."""
        waiting = [p for p in self.tx.proposals(self.number) if p.decision is Decision.OPEN]
        return waiting[-1] if waiting else None

    def proposal_now(self) -> KeptProposal:
        case, today = self.case, self.asked.today
        horizon = add_months(today, self.desk.settings.clinic.horizon_months)
        wear = self.tx.wear(self.number)
        return proposal_now(case, wear, self.desk.protocol, today, horizon)

    def settle(self, proposal: KeptProposal | None, decision: Decision) -> None:
        if proposal is None:
            return
        words = self.asked.stamp.reason
        settled = replace(proposal, decision=decision, words=words)
        self.correct(settled.id, settled, words or f"{decision} as proposed")

    def correct(self, key: str, record: KeptProposal | Regimen, reason: str) -> None:
        stamp = replace(self.asked.stamp, reason=self.asked.stamp.reason or reason)
        self.tx.correct(key, record, stamp, self.tx.version(key))

    def decided(self, key: str, said: str) -> Decided:
        _, before, after = refresh_within(self.tx, self.desk, self.number, today=self.asked.today)
        changes = describe_changes(before, after)
        return Decided(key, said, tuple(c for c in changes if c.kind is not ChangeKind.KEPT))


def stop(
    work: Work, running: Regimen, review_on: date | None, proposal: KeptProposal | None
) -> tuple[str, str]:
    who = person(work, "stop occlusion", State.STOPPED)
    watch = work.desk.protocol.ask("watch_after_stopping", work.on, {"days_since_stop": 0})
    first = work.on + timedelta(days=watch.number("every"))
    turn(work, running, State.STOPPED, review_on or first, who)
    stopped = replace(
        running,
        ends=work.on,
        review_on=review_on,
        decided_on=work.asked.today,
        proposed_by=proposal.rows if proposal else (),
    )
    work.correct(running.id, stopped, "as proposed: stop")
    return running.id, f"no occlusion from {work.on}"


def pause(
    work: Work, running: Regimen, review_on: date | None, proposal: KeptProposal | None
) -> tuple[str, str]:
    who = person(work, "pause occlusion", State.PAUSED)
    turn(work, running, State.PAUSED, review_on, who)
    resting = replace(
        running,
        paused_from=work.on,
        review_on=review_on,
        decided_on=work.asked.today,
        proposed_by=proposal.rows if proposal else (),
    )
    work.correct(running.id, resting, "as proposed: pause")
    return running.id, f"occlusion rests from {work.on}, next look on {review_on}"


def terms(work: Work, eye: Eye, starts: date) -> Regimen:
    """The regimen that would begin, with what goes on from the one before."""
    asked, case = work.asked, work.case
    before = begun(case, starts)
    method = asked.method or (before.method if before else Method.PATCH)
    goes_on = before.prescriber if before and before.method is method is Method.ATROPINE else ""
    return Regimen(
        id="",
        occluded_eye=eye,
        method=method,
        minutes_per_day=None,
        days_per_week=asked.days_per_week or (before.days_per_week if before else ALL_DAYS),
        starts=starts,
        prescriber=asked.prescriber or goes_on or asked.stamp.by,
        reason="",
        near_activity=asked.near_activity or (before.near_activity if before else ""),
        review_on=asked.review_on,
        decided_on=asked.today,
        tapering=asked.taper,
    )


def begin(
    work: Work, terms: Regimen, minutes: int | None, proposal: KeptProposal | None
) -> tuple[str, str]:
    """Ends what runs on the day on which the new regimen begins, so that no day has two."""
    asked, protocol = work.asked, work.desk.protocol
    rows = proposal.rows if proposal else ()
    why = asked.stamp.reason or (f"as proposed: {', '.join(rows[:1])}" if rows else "")
    new = replace(terms, minutes_per_day=minutes, proposed_by=rows, reason=why)
    new = replace(new, review_on=new.review_on or _look_after(work, new, proposal))
    _check(work, new)
    key = ""
    for other in work.case.regimens:
        if other.ends is not None and other.ends <= new.starts:
            continue
        if other.starts < new.starts >= asked.today:
            work.correct(other.id, replace(other, ends=new.starts), f"changed from {new.starts}")
        elif other.starts >= max(new.starts, asked.today) and not key:
            work.correct(other.id, replace(new, id=other.id), why)
            key = other.id
    if not key:
        check_regimen(work.case, new)
        key = work.tx.add(work.number, new, asked.stamp)
    moment = Moment(work.case, new.occluded_eye.fellow, new.starts, new.starts, protocol)
    hours = minutes_on(new, moment) / 60
    dose = "not by the hour" if new.dose is Dose.NOT_BY_THE_HOUR else f"{hours:g} h a day"
    by_age = " at first, then by age" if new.dose is Dose.BY_AGE else ""
    return key, (
        f"{new.method} for the {new.occluded_eye} eye, {dose}{by_age}, {new.days_per_week} days a "
        f"week from {new.starts}, next look on {new.review_on}"
    )


def _look_after(work: Work, new: Regimen, proposal: KeptProposal | None) -> date | None:
    """The look that the table asks for, and no later than the one that was proposed."""
    moment = Moment(work.case, new.occluded_eye.fellow, new.starts, new.starts, work.desk.protocol)
    minutes = minutes_on(new, moment)
    due = review_due(work.case, work.desk.protocol, new.starts, minutes)
    said = proposal.review_on if proposal else None
    looks = [day for day in (due, said) if day is not None and day > new.starts]
    return min(looks, default=None)


def _check(work: Work, new: Regimen) -> None:
    """Raises RecordError for terms that nobody may accept."""
    case, number, eye = work.case, work.number, new.occluded_eye
    if new.dose is Dose.NOT_BY_THE_HOUR and new.method is not Method.ATROPINE:
        raise RecordError(
            f"{new.method} has no hours, and the hours by age are those of a patch.",
            where=number,
            do="Give --hours.",
        )
    moment = Moment(case, eye.fellow, new.starts, new.starts, work.desk.protocol)
    sleep = sleep_hours_reported(moment)
    told = (e.symptoms.skin_reaction for e in reversed(case.examinations))
    skin = next((said for said in told if said is not Finding.UNKNOWN), Finding.UNKNOWN)
    check_acceptance(
        Acceptance(
            number=number,
            by=person(work, "accept occlusion", State.ACCEPTED),
            method=new.method,
            treated_eye=weaker_eye(case) or eye.fellow,
            occluded_eye=eye,
            better_eye_lens=lens_status(case, eye, new.starts),
            better_eye_correction=correction_since(case, eye)[0],
            prescriber=_doctor(work, new),
            minutes_per_day=new.minutes_per_day,
            waking_minutes=awake_minutes(case.child, new.starts, sleep),
            starts=new.starts,
            review_on=new.review_on,
            skin_reaction=skin,
        )
    )


def _doctor(work: Work, new: Regimen) -> str:
    """The prescriber; drops are prescribed by a doctor whom the clinic's file names."""
    role = work.desk.settings.clinic.role_of(new.prescriber)
    if new.method is Method.ATROPINE and role is not Role.DOCTOR:
        raise RecordError(
            f"atropine is prescribed by a doctor, and {new.prescriber} is not named as one.",
            where=work.number,
            do="Give --prescriber with a doctor named under [people] in clinic.toml.",
        )
    return new.prescriber


def person(work: Work, to_do: str, state: State) -> Person:
    """Who acts. Where the clinic's file names nobody, whoever records is taken at their word."""
    clinic, name = work.desk.settings.clinic, work.asked.stamp.by
    if not clinic.people:
        return Person(name, Role.ORTHOPTIST)
    role = clinic.role_of(name)
    if role is None and state not in (State.PAUSED, State.STOPPED):
        raise RecordError(
            f"{name} has no role in this clinic and cannot {to_do}.",
            where=work.number,
            do="Let an orthoptist or doctor named under [people] in clinic.toml decide.",
        )
    if role not in (Role.ORTHOPTIST, Role.DOCTOR) and state not in (State.PAUSED, State.STOPPED):
        raise RecordError(
            f"{name} ({role}) cannot {to_do}.",
            where=work.number,
            do="Ask an orthoptist or a doctor to decide.",
        )
    return Person(name, role or Role.NURSE)


def turn(
    work: Work, regimen: Regimen, state: State, review_on: date | None, person: Person
) -> None:
    """Raises RecordError when the regimen's life does not lead there."""
    since = regimen.paused_from or regimen.starts
    now = Turn(state_of(regimen, work.on), min(since, work.on), person, "", work.on)
    as_proposed = "as proposed" if work.proposal() is not None else ""
    reason = work.asked.stamp.reason.strip() or as_proposed
    advance(Life(regimen.id, (now,)), Turn(state, work.on, person, reason, review_on))
