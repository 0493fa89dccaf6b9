"""The course of occlusion as one drawing: acuity of both eyes, and hours prescribed and worn.

Two results are joined by a line only when they are of one test, and a bar around each result is
half of that test's smallest change that counts: where two bars do not touch, sight has changed.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise
from math import ceil, floor

from rehab.care.case import Case, Eye
from rehab.care.occlusion import Span
from rehab.care.plan import Plan
from rehab.care.review import accepted_spans
from rehab.care.wear import WearDay, summary
from rehab.errors import LetterError
from rehab.letters.charts import MOST_TICKS, Point, Scale, age_ticks
from rehab.letters.render import environment
from rehab.measures.acuity import Acuity
from rehab.measures.acuity_change import noise_hundredths, same_series
from rehab.rules.protocol import Protocol

WIDTH, LEFT, RIGHT = 820, 64, 800
ACUITY_TOP, ACUITY_BOTTOM = 74, 318
HOURS_TOP, HOURS_BOTTOM = 372, 472
ONE_DAY, ONE_WEEK = timedelta(days=1), timedelta(weeks=1)


@dataclass(frozen=True, slots=True)
class Result:
    """One measured acuity of one eye."""

    on: date
    acuity: Acuity

    @property
    def logmar(self) -> float:
        return self.acuity.logmar or 0.0

    @property
    def noise(self) -> float:
        return noise_hundredths(self.acuity) / 200


@dataclass(frozen=True, slots=True)
class Worn:
    """The mean of the days recorded in one week."""

    start: date
    hours: float


def occlusion_chart(case: Case, wear: Sequence[WearDay], protocol: Protocol, plan: Plan) -> str:
    """The drawing as SVG; raises LetterError when there is nothing to draw."""
    today = plan.today
    spans = accepted_spans(case, protocol, today + ONE_DAY)
    results = {eye: tuple(_results(case, eye, today)) for eye in Eye}
    if not spans:
        raise LetterError(
            "there are no hours of occlusion to draw.",
            where=case.child.number,
            do="Accept a regimen first.",
        )
    treated = case.regimens[-1].occluded_eye.fellow
    worn = tuple(_weeks(case, wear, spans, today))
    days = [r.on for found in results.values() for r in found] + [s.start for s in spans] + [today]
    across = Scale(min(days).toordinal(), max(days).toordinal() + 1, LEFT, RIGHT)
    down = _acuity_scale([r for found in results.values() for r in found])
    hours = _hours_scale(spans, worn)
    born = case.child.date_of_birth
    return (
        environment()
        .get_template("charts/occlusion.svg")
        .render(
            title=f"Occlusion of {case.child.number}",
            words=_in_words(case, treated, results, spans, worn),
            width=WIDTH,
            frames=((ACUITY_TOP, ACUITY_BOTTOM), (HOURS_TOP, HOURS_BOTTOM)),
            sides=(LEFT, RIGHT),
            treated=treated,
            eyes=[
                (
                    "treated" if eye is treated else "fellow",
                    [_mark(r, across, down) for r in found],
                    [_path(line, across, down) for line in _lines(found) if len(line) > 1],
                    [(across(line[0].on.toordinal()), _under(line, down), _test(line[0]))
                     for line in _lines(found)] if eye is treated else [],
                )
                # The filled circle is drawn last, so that an open square never hides it.
                for eye, found in ((e, results[e]) for e in (treated.fellow, treated))
            ],
            logmar_ticks=[(down(v / 10), f"{v / 10:.1f}") for v in _steps(down)],
            hour_ticks=[(hours(v), str(v)) for v in _whole(hours)],
            ages=age_ticks(born, min(days), max(days), across),
            prescribed=list(_prescribed(spans, across, hours)),
            bars=[
                (across(w.start.toordinal()), hours(w.hours),
                 across((w.start + ONE_WEEK).toordinal()))
                for w in worn
            ],
            changes=[
                (across(r.starts.toordinal()), r.id.rpartition("/")[2])
                for r in case.regimens
                if r.starts <= today
            ],
            rests=[(across(day.toordinal()), word) for day, word in _rests(case, today)],
        )
    )  # fmt: skip


def _results(case: Case, eye: Eye, today: date) -> Iterator[Result]:
    for examination in case.examinations:
        if examination.on <= today:
            for acuity in examination.of(eye).acuities:
                if acuity.logmar is not None:
                    yield Result(examination.on, acuity)


def _lines(results: Sequence[Result]) -> list[list[Result]]:
    """The results that stand on one line each: of one test, in order of day."""
    lines: list[list[Result]] = []
    for result in results:
        mine = (line for line in lines if same_series(line[-1].acuity, result.acuity))
        line = next(mine, None)
        if line is None:
            lines.append([result])
        else:
            line.append(result)
    return lines


def _weeks(
    case: Case, wear: Sequence[WearDay], spans: Sequence[Span], today: date
) -> Iterator[Worn]:
    """Each week's mean of what may be counted; a week without a usable day has no bar."""
    first = min((span.start for span in spans), default=today)
    told = [day for day in wear if day.on <= today]
    doubted = {d.day for d in summary(told, spans, case.child, today=today).doubtful}
    usable = [day for day in told if day not in doubted]
    start = first
    while start <= today:
        week = [day.minutes for day in usable if start <= day.on < start + ONE_WEEK]
        if week:
            yield Worn(start, sum(week) / len(week) / 60)
        start += ONE_WEEK


def _acuity_scale(results: Sequence[Result]) -> Scale:
    """Better sight stands higher, whole tenths at both ends."""
    best = floor(min((r.logmar - r.noise for r in results), default=0) * 10) / 10
    poorest = ceil(max((r.logmar + r.noise for r in results), default=1) * 10) / 10
    return Scale(best, max(poorest, best + 0.2), ACUITY_TOP, ACUITY_BOTTOM)


def _hours_scale(spans: Sequence[Span], worn: Sequence[Worn]) -> Scale:
    most = max([s.hours_per_day for s in spans] + [w.hours for w in worn])
    return Scale(0, max(ceil(most + 0.5), 1), HOURS_BOTTOM, HOURS_TOP)


def _steps(down: Scale) -> range:
    tenths = round((down.high - down.low) * 10)
    step = next(s for s in (1, 2, 5, 10, 20) if tenths / s < MOST_TICKS)
    return range(ceil(down.low * 10 / step) * step, round(down.high * 10) + 1, step)


def _whole(hours: Scale) -> range:
    return range(0, int(hours.high) + 1, 1 if hours.high <= 4 else 2)


def _mark(result: Result, across: Scale, down: Scale) -> tuple[float, float, float, float]:
    x = across(result.on.toordinal())
    low, high = result.logmar - result.noise, result.logmar + result.noise
    return x, down(result.logmar), down(low), down(high)


def _path(line: Sequence[Result], across: Scale, down: Scale) -> str:
    return " ".join(f"{across(r.on.toordinal())},{down(r.logmar)}" for r in line)


def _under(line: Sequence[Result], down: Scale) -> float:
    return min(down(line[0].logmar + line[0].noise) + 14, ACUITY_BOTTOM - 4)


def _test(result: Result) -> str:
    test = result.acuity.test
    return test if test != "unknown" else result.acuity.kind.value


def _prescribed(spans: Sequence[Span], across: Scale, hours: Scale) -> Iterator[str]:
    """The hours as steps; where no hours follow on each other the line begins anew."""
    run: list[Span] = []
    for span in sorted(spans, key=lambda s: s.start):
        if run and run[-1].until != span.start:
            yield _stairs(run, across, hours)
            run = []
        run.append(span)
    if run:
        yield _stairs(run, across, hours)


def _stairs(run: Sequence[Span], across: Scale, hours: Scale) -> str:
    first, last = across(run[0].start.toordinal()), across(run[-1].until.toordinal())
    points: list[Point] = [(first, HOURS_BOTTOM)]
    for span in run:
        top = hours(span.hours_per_day)
        points += [(across(span.start.toordinal()), top), (across(span.until.toordinal()), top)]
    points.append((last, HOURS_BOTTOM))
    return " ".join(f"{x},{y}" for x, y in points)


def _rests(case: Case, today: date) -> Iterator[tuple[date, str]]:
    """Days on which hours ended without others beginning."""
    for one, other in pairwise((*case.regimens, None)):
        if one is None:
            continue
        rest = one.paused_from or one.ends
        begins = other.starts if other is not None else None
        if rest is not None and rest <= today and rest != begins:
            yield rest, "pause" if one.paused_from else "stop"


def _in_words(
    case: Case,
    treated: Eye,
    results: dict[Eye, tuple[Result, ...]],
    spans: Sequence[Span],
    worn: Sequence[Worn],
) -> str:
    said = []
    for eye in (treated, treated.fellow):
        role = "treated" if eye is treated else "better"
        looks = "; ".join(f"{r.on} {r.logmar:.2f} logMAR by {_test(r)}" for r in results[eye])
        said.append(f"The {role}, {eye} eye: {looks or 'no measured acuity'}.")
    hours = "; ".join(
        f"{s.hours_per_day:g} h a day from {s.start} to {s.until - ONE_DAY}" for s in spans
    )
    said.append(f"Prescribed: {hours}.")
    mean = sum(w.hours for w in worn) / len(worn) if worn else 0
    said.append(
        f"Worn: {mean:.1f} h a day on average in the {len(worn)} weeks with a record."
        if worn
        else "Worn: nothing recorded."
    )
    begun = "; ".join(f"{r.id.rpartition('/')[2]} from {r.starts}" for r in case.regimens)
    said.append(f"Regimens: {begun}.")
    return " ".join(said)
