"""Charts as SVG for screen and black-and-white print, each with its words beside the drawing."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from math import ceil, floor

from rehab.letters.render import environment
from rehab.measures.dates import add_months, completed_months

WIDTH, HEIGHT = 760, 430
LEFT, RIGHT, TOP, BOTTOM = 64, 740, 56, 366
MOST_TICKS = 9
Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Scale:
    """Maps values from `low` to `high` onto a drawing from `start` to `end`."""

    low: float
    high: float
    start: float
    end: float

    def __call__(self, value: float) -> float:
        share = (value - self.low) / (self.high - self.low)
        return round(self.start + share * (self.end - self.start), 1)


@dataclass(frozen=True, slots=True)
class Tick:
    at: float
    label: str


@dataclass(frozen=True, slots=True)
class Measured:
    """One refraction in dioptres, with the standard deviation of its noise."""

    on: date
    dioptres: float
    noise_dioptres: float


@dataclass(frozen=True, slots=True)
class Expected:
    """The refraction expected on a day, with the band around it."""

    on: date
    dioptres: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class ForecastChart:
    """What the chart of one eye shows; `words` say the same as the drawing."""

    title: str
    words: str
    born: date
    measured: tuple[Measured, ...]
    expected: tuple[Expected, ...]
    worn_dioptres: float
    worn_since: date
    next_on: date


def forecast_chart(chart: ForecastChart) -> str:
    """The measured refractions, what is expected and its band, what is worn, the next check."""
    days = [m.on for m in chart.measured] + [e.on for e in chart.expected] + [chart.next_on]
    across = Scale(min(days).toordinal(), max(days).toordinal(), LEFT, RIGHT)
    powers = [e.low for e in chart.expected] + [e.high for e in chart.expected]
    powers += [m.dioptres + s * m.noise_dioptres for m in chart.measured for s in (-1, 1)]
    powers.append(chart.worn_dioptres)
    down = Scale(floor(min(powers)), ceil(max(powers)), BOTTOM, TOP)

    def at(on: date, dioptres: float) -> Point:
        return across(on.toordinal()), down(dioptres)

    band = [at(e.on, e.high) for e in chart.expected]
    band += [at(e.on, e.low) for e in reversed(chart.expected)]
    return (
        environment()
        .get_template("charts/forecast.svg")
        .render(
            chart=chart,
            width=WIDTH,
            height=HEIGHT,
            frame=(LEFT, RIGHT, TOP, BOTTOM),
            ages=age_ticks(chart.born, min(days), max(days), across),
            powers=_power_ticks(down),
            band=_path(band),
            curve=_path([at(e.on, e.dioptres) for e in chart.expected]),
            points=[
                (*at(m.on, m.dioptres), down(m.dioptres - m.noise_dioptres),
                 down(m.dioptres + m.noise_dioptres))
                for m in chart.measured
            ],
            worn=(*at(chart.worn_since, chart.worn_dioptres), across(max(days).toordinal())),
            next_at=across(chart.next_on.toordinal()),
        )
    )  # fmt: skip


def _path(points: Sequence[Point]) -> str:
    return " ".join(f"{x},{y}" for x, y in points)


def age_ticks(born: date, first: date, last: date, across: Scale) -> list[Tick]:
    """Whole months of age, far enough apart to read; years from two years on."""
    youngest, oldest = completed_months(born, first), completed_months(born, last)
    step = next(s for s in (1, 2, 3, 6, 12, 24, 48) if (oldest - youngest) // s < MOST_TICKS)
    months = range(-(-youngest // step) * step, oldest + 1, step)
    days = ((m, add_months(born, m)) for m in months)
    return [
        Tick(across(day.toordinal()), _age(month)) for month, day in days if first <= day <= last
    ]


def _age(months: int) -> str:
    return f"{months} m" if months < 24 else f"{months / 12:g} y"


def _power_ticks(down: Scale) -> list[Tick]:
    step = next(s for s in (1, 2, 5, 10, 20) if (down.high - down.low) / s < MOST_TICKS)
    first = ceil(down.low / step)
    values = [n * step for n in range(first, floor(down.high / step) + 1)]
    return [Tick(down(value), f"{value:+d}" if value else "0") for value in values]
