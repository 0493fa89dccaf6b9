"""An alarm of the last look under occlusion, unanswered: hours rest until a person decides."""

from datetime import date

from rehab.care.case import Case
from rehab.care.flags import Flag, Urgency
from rehab.care.regimen_life import State
from rehab.care.response import Action, propose
from rehab.care.review import begun, gather, state_of
from rehab.errors import RehabError
from rehab.rules.protocol import Protocol

SAFETY, RESPONSE = "occlusion_safety", "occlusion_response"
RUNS = (State.RUNNING, State.TAPERING)
ALARMS = (Action.STOP, Action.PAUSE, Action.CHANGE_METHOD)


def occlusion_alarm(case: Case, protocol: Protocol, today: date) -> Flag | None:
    """What safety asks for after the last look; None when nothing runs or a person has decided."""
    regimen = begun(case, today)
    if regimen is None or state_of(regimen, today) not in RUNS:
        return None
    try:
        facts = gather(case, (), protocol, today)
        proposal = propose(facts, protocol, today)
    except RehabError:
        return None
    by_safety = all(because.decision != RESPONSE for because in proposal.because)
    if proposal.action not in ALARMS or not by_safety:
        return None
    because = next(because for because in proposal.because if because.decision == SAFETY)
    return Flag(
        regimen.occluded_eye,
        f"The look of {facts.review.on} asks to {proposal.action} occlusion of the "
        f"{regimen.occluded_eye} eye ({because.row.replace('-', ' ')}). No hours hold until the "
        f"orthoptist decides: rehab occlusion propose {case.child.number}.",
        Urgency.TODAY,
        facts.review.on,
        because,
    )
