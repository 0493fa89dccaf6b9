"""The facts of one child, as recorded: immutable, in the words of the trade."""

from dataclasses import dataclass, field, replace
from datetime import date
from enum import StrEnum

from rehab.care.contacts import Contact, ContactTry, Limits
from rehab.care.sharing import Sharing
from rehab.measures.acuity import Acuity
from rehab.measures.fixation import Finding, Fixation, Nystagmus
from rehab.measures.pressure import Pressure
from rehab.measures.refraction import Refraction


class Eye(StrEnum):
    RIGHT = "right"
    LEFT = "left"

    @property
    def fellow(self) -> "Eye":
        return Eye.LEFT if self is Eye.RIGHT else Eye.RIGHT


class LensStatus(StrEnum):
    PHAKIC = "phakic"
    APHAKIC = "aphakic"
    PSEUDOPHAKIC = "pseudophakic"
    UNKNOWN = "unknown"


class Procedure(StrEnum):
    LENS_REMOVAL = "lens removal"
    LENS_REMOVAL_WITH_IMPLANT = "lens removal with implant"
    SECONDARY_IMPLANT = "secondary implant"
    MEMBRANE_CLEARANCE = "membrane clearance"
    OTHER_INTRAOCULAR = "other intraocular surgery"


class Sutures(StrEnum):
    NONE = "none"
    ABSORBABLE = "absorbable"
    NON_ABSORBABLE = "non-absorbable"
    UNKNOWN = "unknown"


class Cause(StrEnum):
    """Why the lens became opaque."""

    CONGENITAL = "congenital"
    DEVELOPMENTAL = "developmental"
    TRAUMATIC = "traumatic"
    UNKNOWN = "unknown"


class VisualAxis(StrEnum):
    CLEAR = "clear"
    HAZY = "hazy"
    OPAQUE = "opaque"
    UNKNOWN = "unknown"


class Cataract(StrEnum):
    """The lens of an eye that has not been operated."""

    NONE = "none"
    PARTIAL = "partial"
    DENSE = "dense"
    UNKNOWN = "unknown"


class Correction(StrEnum):
    CONTACT_LENS = "contact lens"
    GLASSES = "glasses"
    NONE = "none"
    UNKNOWN = "unknown"


class CheckKind(StrEnum):
    """One clinical purpose that falls due; the name of its decision table."""

    REVIEW = "post_operative_review"
    PRESSURE = "pressure_check"
    VISUAL_AXIS = "visual_axis_check"
    REFRACTION = "refraction"
    CONTACT_LENS = "contact_lens_review"
    FUNDUS = "dilated_fundus"
    SUTURES = "suture_review"
    ANAESTHESIA = "examination_under_anaesthesia"
    SECOND_EYE = "second_eye_planning"
    OCCLUSION = "occlusion_review"
    WATCH = "watch_after_stopping"
    GLASSES = "glasses_review"


class Method(StrEnum):
    """How an eye is occluded or its sight lowered."""

    PATCH = "adhesive patch"
    CLOTH_PATCH = "cloth patch on glasses"
    ATROPINE = "atropine"
    FILTER = "blurring filter"
    OPTICAL_BLUR = "optical blur"


class Dose(StrEnum):
    """What a regimen says of hours. The age table is about patches, so only they follow it."""

    FIXED = "fixed hours"
    BY_AGE = "hours by age"
    NOT_BY_THE_HOUR = "not by the hour"


PATCHES = (Method.PATCH, Method.CLOTH_PATCH)


class Outcome(StrEnum):
    """What became of an appointment."""

    BOOKED = "booked"
    ATTENDED = "attended"
    WAS_NOT_BROUGHT = "was not brought"
    CANCELLED_BY_FAMILY = "cancelled by family"
    CANCELLED_BY_CLINIC = "cancelled by clinic"


CANCELLED = (Outcome.CANCELLED_BY_FAMILY, Outcome.CANCELLED_BY_CLINIC)


class EndingKind(StrEnum):
    """Why this clinic no longer plans for a child."""

    MOVED = "moved away"
    TRANSFERRED = "transferred"
    DISCHARGED = "discharged"
    DECLINED = "declined"
    DIED = "died"


@dataclass(frozen=True, slots=True)
class Child:
    """`number` is the clinic's own record number; `gestation_weeks` None means not known.

    Children who share the word `family` live together and should come on one day.
    """

    number: str
    name: str
    date_of_birth: date
    gestation_weeks: int | None = None
    language: str = "en"
    phone: str = ""
    family: str = ""


@dataclass(frozen=True, slots=True)
class Surgery:
    """One operation on one eye on one date.

    `target_quarters` is the residual refraction that was aimed at with an implant.
    """

    id: str
    eye: Eye
    on: date
    procedure: Procedure
    sutures: Sutures = Sutures.UNKNOWN
    cause: Cause = Cause.UNKNOWN
    target_quarters: int | None = None


@dataclass(frozen=True, slots=True)
class EyeFindings:
    """What was found in one eye on one day; what was not looked at stays unknown or None."""

    eye: Eye
    acuities: tuple[Acuity, ...] = ()
    fixation: Fixation = field(default_factory=Fixation)
    pressure: Pressure | None = None
    refraction: Refraction | None = None
    visual_axis: VisualAxis = VisualAxis.UNKNOWN
    cataract: Cataract = Cataract.UNKNOWN
    lens_status: LensStatus = LensStatus.UNKNOWN
    correction: Correction = Correction.UNKNOWN
    corneal_diameter_tenths_mm: int | None = None
    axial_length_hundredths_mm: int | None = None


@dataclass(frozen=True, slots=True)
class Symptoms:
    """What the family tells, or the skin shows, when asked about occlusion."""

    double_vision: Finding = Finding.UNKNOWN
    new_squint: Finding = Finding.UNKNOWN
    skin_reaction: Finding = Finding.UNKNOWN


@dataclass(frozen=True, slots=True)
class Examination:
    """What was found on a date. `done` names checks that were done without a recorded value.

    `sleep_minutes` is the sleep in 24 hours, night and naps together, that the family reports.
    """

    id: str
    on: date
    findings: tuple[EyeFindings, ...] = ()
    nystagmus: Nystagmus = Nystagmus.UNKNOWN
    under_anaesthesia: bool = False
    done: tuple[tuple[CheckKind, Eye], ...] = ()
    note: str = ""
    symptoms: Symptoms = field(default_factory=Symptoms)
    sleep_minutes: int | None = None

    def of(self, eye: Eye) -> EyeFindings:
        return next((f for f in self.findings if f.eye is eye), EyeFindings(eye))


@dataclass(frozen=True, slots=True)
class Regimen:
    """One occlusion prescription that a person accepted; its versions tell its life.

    `minutes_per_day` None means what `dose` says; `ends` is the first day without occlusion.
    `review_on` is the look agreed on `decided_on`; from `paused_from` on no hours are worn until
    a new regimen. `proposed_by` are the rows, as decision/row, that the decision rests on.
    """

    id: str
    occluded_eye: Eye
    method: Method
    minutes_per_day: int | None
    days_per_week: int
    starts: date
    prescriber: str
    reason: str
    ends: date | None = None
    near_activity: str = ""
    review_on: date | None = None
    decided_on: date | None = None
    proposed_by: tuple[str, ...] = ()
    tapering: bool = False
    paused_from: date | None = None

    @property
    def dose(self) -> Dose:
        if self.minutes_per_day is not None:
            return Dose.FIXED
        return Dose.BY_AGE if self.method in PATCHES else Dose.NOT_BY_THE_HOUR


@dataclass(frozen=True, slots=True)
class Prescription:
    """Drops or other treatment exactly as the prescriber wrote it: never read, only printed.

    `until` is the last day on which it holds.
    """

    id: str
    on: date
    until: date
    text: str
    prescriber: str


@dataclass(frozen=True, slots=True)
class Appointment:
    """A visit that has been booked, with its outcome.

    `session` is the id of the clinic session that holds it, "" for one outside the diary, which
    has no time of day. `overbooked` says that a person put it there beyond the room there was.
    `arranged_on` is the day on which it was last booked, moved or cancelled, None where that was
    not kept: then the family is taken to know of it. `reached_before` counts how often on that
    very day somebody had spoken with the family by then.
    """

    id: str
    on: date
    outcome: Outcome = Outcome.BOOKED
    session: str = ""
    starts_minute: int | None = None
    minutes: int = 0
    overbooked: bool = False
    arranged_on: date | None = None
    reached_before: int = 0


@dataclass(frozen=True, slots=True)
class Ending:
    """`receiving_clinic` says who goes on looking after a child that was transferred."""

    kind: EndingKind
    on: date
    note: str = ""
    receiving_clinic: str = ""


@dataclass(frozen=True, slots=True)
class Case:
    """Everything recorded about one child; each tuple is in order of date, then id."""

    child: Child
    surgeries: tuple[Surgery, ...] = ()
    examinations: tuple[Examination, ...] = ()
    regimens: tuple[Regimen, ...] = ()
    appointments: tuple[Appointment, ...] = ()
    ending: Ending | None = None
    contacts: tuple[Contact, ...] = ()
    limits: Limits = field(default_factory=Limits)
    tries: tuple[ContactTry, ...] = ()
    prescriptions: tuple[Prescription, ...] = ()
    sharing: Sharing | None = None


def case_of(
    child: Child,
    *,
    surgeries: tuple[Surgery, ...] = (),
    examinations: tuple[Examination, ...] = (),
    regimens: tuple[Regimen, ...] = (),
    appointments: tuple[Appointment, ...] = (),
    ending: Ending | None = None,
    prescriptions: tuple[Prescription, ...] = (),
) -> Case:
    """A case in its one order, whatever order the facts came in: by day, then as numbered.

    Shorter ids first, since the ninth appointment was made before the tenth.
    """
    return Case(
        child,
        tuple(sorted(surgeries, key=lambda s: (s.on, len(s.id), s.id))),
        tuple(sorted(examinations, key=lambda e: (e.on, len(e.id), e.id))),
        tuple(sorted(regimens, key=lambda r: (r.starts, len(r.id), r.id))),
        tuple(sorted(appointments, key=lambda a: (a.on, len(a.id), a.id))),
        ending,
        prescriptions=tuple(sorted(prescriptions, key=lambda p: (p.on, len(p.id), p.id))),
    )


def with_family(
    case: Case,
    contacts: tuple[Contact, ...] = (),
    limits: Limits | None = None,
    tries: tuple[ContactTry, ...] = (),
    sharing: Sharing | None = None,
) -> Case:
    """`case` with how its family is reached, and what it agreed to, in the same order of day,
    then as numbered."""
    return replace(
        case,
        contacts=tuple(sorted(contacts, key=lambda c: (len(c.id), c.id))),
        limits=limits or Limits(),
        tries=tuple(sorted(tries, key=lambda t: (t.on, len(t.id), t.id))),
        sharing=sharing,
    )
