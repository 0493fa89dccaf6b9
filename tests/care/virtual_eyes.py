"""Virtual infants' eyes, drawn from published figures, whose later refraction is known."""

from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise
from math import log10
from random import Random

from rehab.care.case import LensStatus
from rehab.care.forecast import GrowthPrior, Observation
from rehab.measures.dates import add_months, completed_months
from rehab.measures.growth import to_lens_plane, to_spectacle_plane
from rehab.rules.domain import Value
from rehab.table_files import read_protocol

BORN = date(2020, 1, 1)
PROTOCOL = read_protocol()
# Age at surgery in days, each span as likely as the next. Aphakic: quartiles 1.1, 1.6 and 3.1
# months (Lambert 2021, Eye Contact Lens 47); pseudophakic: median 2.4 months, range 1.0 to 6.8
# (Weakley 2017, Ophthalmology 124:822).
SURGERY_DAYS = {
    LensStatus.APHAKIC: (28, 33, 49, 94, 208),
    LensStatus.PSEUDOPHAKIC: (30, 73, 207),
}
# Mean prediction error +1.0 +- 2.0 D (planned less found) at 1 month, VanderVeen 2012, Arch
# Ophthalmol 130:293.
PREDICTION_ERROR = (1.0, 2.0)
# Median 19.01 D (16.98 to 20.49) straight after surgery, Lambert 2021; read as a normal spread.
APHAKIC_START = (19.01, (20.49 - 16.98) / 1.349)


@dataclass(frozen=True, slots=True)
class VirtualEye:
    """An eye that follows the published curve exactly from `start`, 1 month after surgery."""

    lens_status: LensStatus
    surgery: date
    start: date
    start_dioptres: float
    rate_dioptres: float

    def lens_plane(self, on: date) -> float:
        fall = self.rate_dioptres * (_log_age(on) - _log_age(self.start))
        return to_lens_plane(self.start_dioptres) - fall

    def dioptres(self, on: date) -> float:
        return to_spectacle_plane(self.lens_plane(on))

    def refract(self, on: date, random: Random, noise_factor: float = 1.0) -> Observation:
        """A measurement; with a factor its noise is not what the forecast is told."""
        noise = noise_dioptres(on)
        return Observation(on, self.dioptres(on) + random.gauss(0, noise_factor * noise), noise)


def _log_age(on: date) -> float:
    return log10((on - BORN).days / 365.25 + 0.6)


def noise_dioptres(on: date) -> float:
    facts = {"age_months": completed_months(BORN, on)}
    return PROTOCOL.ask("refraction_noise", on, facts).number("deviation_hundredths") / 100


def prior(lens_status: LensStatus, age_at_surgery_days: int = 60) -> GrowthPrior:
    """The built-in table's answer."""
    facts: dict[str, Value] = {
        "lens_status": lens_status,
        "age_at_surgery_days": age_at_surgery_days,
    }
    answer = PROTOCOL.ask("refraction_growth", BORN, facts)
    return GrowthPrior(
        answer.number("rate_tenths") / 10,
        answer.number("deviation_tenths") / 10,
        answer.because.citation,
    )


def virtual_eye(lens_status: LensStatus, random: Random) -> VirtualEye:
    ends = SURGERY_DAYS[lens_status]
    days = random.randint(*random.choice(list(pairwise(ends))))
    surgery = BORN + timedelta(days=days)
    believed = prior(lens_status, days)
    if lens_status is LensStatus.PSEUDOPHAKIC:
        # Targets of the trial: +8.00 at 28 to 48 days, then +6.00 (VanderVeen 2012).
        start = (8.0 if days < 49 else 6.0) - random.gauss(*PREDICTION_ERROR)
    else:
        start = random.gauss(*APHAKIC_START)
    rate = random.gauss(believed.rate_dioptres, believed.deviation_dioptres)
    return VirtualEye(lens_status, surgery, add_months(surgery, 1), start, rate)
