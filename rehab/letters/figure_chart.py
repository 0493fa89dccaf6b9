"""Charts of the clinic's figures as SVG for black-and-white print, with their words beside them."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from rehab.care.figures import AtPoint, worth_showing
from rehab.care.survival import Curve, Step
from rehab.letters.charts import Scale, Tick
from rehab.letters.render import environment

WIDTH, LEFT, RIGHT, TOP, BOTTOM = 820, 70, 800, 74, 350
PERCENTS = range(0, 101, 20)
MOST_TICKS, MOST_LABELS = 9, 11
# The published figure stands a little to the right of the clinic's own, so that both can be read.
ASIDE = 13
LINES = ("", "7 4", "2 3", "10 3 2 3")
# Days in a unit, and steps of it that people count in.
UNITS = (
    ("days", 1, (1, 2, 7)),
    ("weeks", 7, (1, 2, 4)),
    ("months", 365.25 / 12, (1, 2, 3, 6)),
    ("years", 365.25, (1, 2, 5, 10)),
)


@dataclass(frozen=True, slots=True)
class CurveChart:
    """What a chart of curves says: `happened` is what takes one of `whom` off the curve.

    Nothing is drawn beyond `until_days`; `key` tells the chart from others on one page.
    """

    key: str
    title: str
    axis: str
    time: str
    whom: str
    happened: str
    curves: tuple[tuple[str, Curve], ...]
    until_days: int | None = None


def attendance_chart(points: Sequence[AtPoint], title: str) -> str:
    """The clinic's own shares with their intervals; published ones beside them as open marks."""
    down = Scale(0, 100, BOTTOM, TOP)
    drawn = worth_showing(points)
    apart = (RIGHT - LEFT) / len(drawn)
    return (
        environment()
        .get_template("charts/attendance.svg")
        .render(
            key="attendance",
            title=title,
            words=_attendance_words(points),
            width=WIDTH,
            height=BOTTOM + 158,
            frame=(LEFT, RIGHT, TOP, BOTTOM),
            percents=_percent_ticks(),
            points=[
                _mark(at, round(LEFT + (n + 0.5) * apart, 1), down) for n, at in enumerate(drawn)
            ],
            aside=ASIDE,
            elsewhere=next((at.published for at in drawn if at.published), None),
            crowded=len(drawn) > MOST_LABELS,
            more=len(points) > len(drawn),
        )
    )


@dataclass(frozen=True, slots=True)
class Mark:
    """One time point as drawn: heights in the drawing, None where there is nothing to draw."""

    x: float
    at: AtPoint
    own: float | None
    interval: tuple[float, float] | None
    published: float | None


def _mark(at: AtPoint, x: float, down: Scale) -> Mark:
    percent, interval = at.attended.percent, at.attended.interval
    return Mark(
        x,
        at,
        None if percent is None else down(percent),
        interval and (down(interval[0]), down(interval[1])),
        down(at.published.percent) if at.published else None,
    )


def _attendance_words(points: Sequence[AtPoint]) -> str:
    said = []
    for at in points:
        share = at.attended
        own = "nobody due"
        if share.percent is not None and share.interval is not None:
            low, high = share.interval
            own = (
                f"{share.count} of {share.total} attended, {share.percent:.0f} % "
                f"({low:.0f} to {high:.0f} %)" + (f", {share.caution}" if share.caution else "")
            )
        there = f"; elsewhere {at.published.percent} %" if at.published else ""
        said.append(f"{at.window.point}: {own}{there}.")
    return " ".join(said)


def curve_chart(chart: CurveChart) -> str:
    """Survival curves as steps; the band of a single curve, and how many are followed below."""
    longest = max((curve.longest_days for _, curve in chart.curves), default=0)
    until = max(1, min(longest, chart.until_days or longest))
    across, down = Scale(0, until, LEFT, RIGHT), Scale(0, 100, BOTTOM, TOP)
    unit, ticks = _time_ticks(until, across)
    return (
        environment()
        .get_template("charts/survival.svg")
        .render(
            chart=chart,
            words=_curve_words(chart, until),
            width=WIDTH,
            height=BOTTOM + 140 + 18 * len(chart.curves),
            frame=(LEFT, RIGHT, TOP, BOTTOM),
            percents=_percent_ticks(),
            unit=unit,
            cut=until if until < longest else None,
            happened=any(curve.events for _, curve in chart.curves),
            ticks=[tick for tick, _ in ticks],
            curves=[
                (
                    label,
                    LINES[n % len(LINES)],
                    _path(_stairs(curve, until), across, down),
                    [(across(s.days), down(100 * s.survival)) for s in _censored(curve, until)],
                    [(tick.at, curve.at_risk(days)) for tick, days in ticks],
                    curve.caution,
                )
                for n, (label, curve) in enumerate(chart.curves)
            ],
            bands=[
                _path(band, across, down) for band in _bands(chart.curves[0][1], until)
            ] if len(chart.curves) == 1 else [],
        )
    )  # fmt: skip


def _percent_ticks() -> list[Tick]:
    down = Scale(0, 100, BOTTOM, TOP)
    return [Tick(down(percent), str(percent)) for percent in PERCENTS]


def _time_ticks(until: int, across: Scale) -> tuple[str, list[tuple[Tick, int]]]:
    """The finest unit and step that leave few enough ticks, each with its day."""
    unit, days, step = next(
        (unit, days, step)
        for unit, days, steps in UNITS
        for step in steps
        if until / (days * step) < MOST_TICKS or (unit, step) == ("years", 10)
    )
    counts = range(0, int(until / days) + 1, step)
    return unit, [
        (Tick(across(round(n * days)), str(n)), round(n * days))
        for n in counts
        if round(n * days) <= until
    ]


def _shown(curve: Curve, until: int) -> Iterator[Step]:
    return (step for step in curve.steps if step.days <= until)


def _censored(curve: Curve, until: int) -> Iterator[Step]:
    """Where a mark says that watching ended without the event; the last day of many is one mark."""
    return (step for step in _shown(curve, until) if step.censored)


def _stairs(curve: Curve, until: int) -> Iterator[tuple[float, float]]:
    height = 100.0
    yield 0, height
    for step in _shown(curve, until):
        yield step.days, height
        height = 100 * step.survival
        yield step.days, height
    yield min(until, curve.longest_days), height


def _bands(curve: Curve, until: int) -> Iterator[list[tuple[float, float]]]:
    """The outline of the interval wherever there is one, upper limit first."""
    steps = list(_shown(curve, until))
    ends = [step.days for step in steps[1:]] + [min(until, curve.longest_days)]
    upper: list[tuple[float, float]] = []
    lower: list[tuple[float, float]] = []
    for step, end in zip(steps, ends, strict=True):
        if step.interval is None:
            continue
        low, high = step.interval
        upper += [(step.days, 100 * high), (end, 100 * high)]
        lower += [(step.days, 100 * low), (end, 100 * low)]
    if upper:
        yield [*upper, *reversed(lower)]


def _path(points: Iterator[tuple[float, float]] | list[tuple[float, float]], across: Scale,
          down: Scale) -> str:  # fmt: skip
    return " ".join(f"{across(x)},{down(y)}" for x, y in points)


def _curve_words(chart: CurveChart, until: int) -> str:
    said = []
    for label, curve in chart.curves:
        last = curve.at(until)
        half = curve.quantile(0.5)
        said.append(
            f"{label}: {curve.total} {chart.whom} followed, {curve.events} {chart.happened}; "
            f"after {until} days {100 * last.survival:.0f} % remain"
            + (f"; half by day {half}" if half is not None else "; half is not reached")
            + (f"; {curve.caution}" if curve.caution else "")
            + "."
        )
    return " ".join(said)
