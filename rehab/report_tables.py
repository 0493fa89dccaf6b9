"""Each figure as a table with its definitions: for the screen, the page and the file alike."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from rehab.care.figures import MOST_YEARS, AtPoint, worth_showing
from rehab.care.loss import TABLE, grace
from rehab.care.proportion import FEWEST, caution
from rehab.care.survival import Curve
from rehab.report_desk import Checks, Figure, Report
from rehab.rules.table import ASSUMPTION

Cell = str | int | float | None
Values = Mapping[str, Cell]
DAYS_PER_MONTH = 365.25 / 12
_INTERVAL = "Interval: 95 %, Wilson: chance alone may put the figure anywhere in it."

TITLES = {
    Figure.ATTENDANCE: "Attendance after lens removal",
    Figure.CORRECTION: "Time from lens removal to first correction",
    Figure.WINDOWS: "Checks done inside their window",
    Figure.NO_DATE: "Children with no future date",
    Figure.LOSS: "Time to loss of follow-up",
}


@dataclass(frozen=True, slots=True)
class Listing:
    """One figure: `values` for programs, `rows` under `heads` for people, `notes` that define it.

    Where the last values are of very few children, `rows` stop before them. `nothing` is what is
    said where there are no rows.
    """

    figure: Figure
    title: str
    notes: tuple[str, ...]
    values: tuple[Values, ...]
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    nothing: str = ""


def listing(report: Report, figure: Figure) -> Listing:
    match figure:
        case Figure.ATTENDANCE:
            return _attendance(report)
        case Figure.CORRECTION:
            return _correction(report)
        case Figure.WINDOWS:
            return _windows(report)
        case Figure.NO_DATE:
            return _no_date(report)
        case Figure.LOSS:
            return _loss(report)


def _attendance(report: Report) -> Listing:
    values = [_at_point(at) for at in report.attendance]
    shown = worth_showing(report.attendance)
    return Listing(
        Figure.ATTENDANCE,
        TITLES[Figure.ATTENDANCE],
        (
            _cohort(report),
            *_in_days(report, "Time points whose window ended"),
            "Attended: an examination, or an appointment recorded as attended, inside the window "
            "of days around the time point (table attendance_window, "
            f"{_rests_on(report, 'attendance_window')}). Visits that were never entered here are "
            "not seen.",
            "Due: the whole window lay before today. A child whose care had ended by the last day "
            "of the window (moved, transferred, discharged, died) is left out and counted as such; "
            "one who declined stays in.",
            _INTERVAL,
            *_elsewhere(report.attendance),
            *_stops(len(shown), len(values)),
        ),
        tuple(values),
        ("TIME POINT", "WINDOW, DAYS", "DUE", "ATTENDED", "PERCENT", "95 % INTERVAL", "ELSEWHERE",
         "NOT YET DUE", "LEFT OUT"),
        tuple(
            (
                str(v["point"]), f"−{v['window_early_days']} to +{v['window_late_days']}",
                str(v["due"]), str(v["attended"]), _percent(v), _interval(v),
                f"{v['published_percent']} %" if v["published_percent"] is not None else "-",
                str(v["not_yet_due"]),
                ", ".join(f"{n} {kind}" for kind, n in at.left_out) or "0",
            )
            for v, at in zip(values, shown, strict=False)
        ),
    )  # fmt: skip


def _at_point(at: AtPoint) -> Values:
    share = at.attended
    low, high = share.interval or (None, None)
    left_out = dict(at.left_out)
    return {
        "point": at.window.point,
        "window_early_days": at.window.early.days,
        "window_late_days": at.window.late.days,
        "due": share.total,
        "attended": share.count,
        "percent": _round(share.percent),
        "low": _round(low),
        "high": _round(high),
        "caution": share.caution if share.total else "",
        "published_percent": at.published.percent if at.published else None,
        "published_children": at.published.children if at.published else None,
        "not_yet_due": at.not_yet_due,
        **{
            kind.replace(" ", "_"): left_out.get(kind, 0)
            for kind in ("moved away", "transferred", "discharged", "died")
        },
    }


def _correction(report: Report) -> Listing:
    values = [_corrected(left, curve) for left, curve in report.corrections]
    return Listing(
        Figure.CORRECTION,
        TITLES[Figure.CORRECTION],
        (
            _cohort(report),
            *_in_days(report, "Eyes operated"),
            "For each operated eye: days from its lens removal to the first examination at which a "
            "contact lens or glasses were recorded for it. What was worn but not recorded is not "
            "seen here.",
            "Quarter, half, three quarters: the days by which that share of eyes had a correction "
            "(Kaplan–Meier); eyes still without count as followed until today, or until care "
            "ended. The interval is of the half (95 %, log-log); two eyes of one child are not "
            "independent, so it is somewhat too narrow.",
        ),
        tuple(values),
        ("AFTER SURGERY", "EYES", "CORRECTED", "WITHOUT", "QUARTER BY", "HALF BY", "95 % INTERVAL",
         "THREE QUARTERS BY", "REMARK"),
        tuple(
            (
                str(v["after_surgery"]), str(v["eyes"]), str(v["corrected"]), str(v["without"]),
                _days(v["quarter_days"]), _days(v["half_days"]),
                _days_between(v["half_low"], v["half_high"]),
                _days(v["three_quarters_days"]), str(v["caution"]),
            )
            for v in values
        ),
        nothing="No eye had its lens removed in these days.",
    )  # fmt: skip


def _corrected(left: str, curve: Curve) -> Values:
    low, high = curve.quantile_interval(0.5)
    return {
        "after_surgery": left,
        "eyes": curve.total,
        "corrected": curve.events,
        "without": curve.total - curve.events,
        "quarter_days": curve.quantile(0.25),
        "half_days": curve.quantile(0.5),
        "half_low": low,
        "half_high": high,
        "three_quarters_days": curve.quantile(0.75),
        "caution": curve.caution,
    }


def _windows(report: Report) -> Listing:
    values = [_of_kind(checks) for checks in report.checks]
    days, today = report.asked.days, report.asked.today
    whom = _whom(report)
    return Listing(
        Figure.WINDOWS,
        TITLES[Figure.WINDOWS],
        (
            f"Checks of {whom} whose window closed before {today} ({days}), by the tables and by "
            " what was known when the plan asked for them; a check whose window was still "
            "open when care ended does not count.",
            "Inside: an examination that settles the check fell in its window. Early: before it. "
            "Late: after it, and before another took its place. Not done: none, or one that "
            "settled a later check instead. A child who stays away misses every check that its "
            "last plan held; what was done but not recorded is not seen here.",
            "Facts count from the day they happened, as corrected since; a look at occlusion whose "
            "agreed day was changed later is judged by the table. The interval (95 %, Wilson) "
            "takes checks as independent, which those of one child are not: it is too narrow.",
        ),
        tuple(values),
        ("CHECK", "CHILDREN", "DUE", "INSIDE", "EARLY", "LATE", "NOT DONE", "PERCENT INSIDE",
         "95 % INTERVAL"),
        tuple(
            (
                *(str(v[k]) for k in ("check", "children", "due", "inside", "early", "late",
                                      "not_done")),
                _percent(v), _interval(v),
            )
            for v in values
        ),
        nothing="No check fell due.",
    )  # fmt: skip


def _of_kind(checks: Checks) -> Values:
    low, high = checks.inside.interval or (None, None)
    return {
        "check": checks.kind.replace("_", " "),
        "children": checks.children,
        "due": checks.inside.total,
        **{done.replace(" ", "_"): number for done, number in checks.done},
        "percent": _round(checks.inside.percent),
        "low": _round(low),
        "high": _round(high),
        "caution": checks.caution,
    }


def _no_date(report: Report) -> Listing:
    today = report.asked.today
    values: list[Values] = [
        {
            "number": one.number,
            "last_seen": one.last_seen.isoformat() if one.last_seen else None,
            "days_since": (today - one.last_seen).days if one.last_seen else None,
            "operated_on": one.operated_on.isoformat() if one.operated_on else None,
        }
        for one in report.no_date
    ]
    return Listing(
        Figure.NO_DATE,
        TITLES[Figure.NO_DATE],
        (
            f"{_whom(report).capitalize()} in care (no ending recorded) without a booked "
            f"appointment on or after {today}, whichever days the other figures are of. "
            "Last seen: examined, attended or operated.",
        ),
        tuple(values),
        ("NUMBER", "LAST SEEN", "DAYS SINCE", "LENS REMOVED"),
        tuple(tuple("-" if v is None else str(v) for v in row.values()) for row in values),
        nothing="Every child in care has a date.",
    )


def _loss(report: Report) -> Listing:
    curve = report.loss
    values = tuple(_loss_points(curve))
    ends = ", ".join(f"{number} {end}" for end, number in report.ends)
    rows = [v for v in values if not v["caution"]] or values
    days = grace(report.protocol, report.asked.today).days
    return Listing(
        Figure.LOSS,
        TITLES[Figure.LOSS],
        (
            _cohort(report),
            f"Lost: not seen for {days} days (table {TABLE}, "
            f"{_rests_on(report, TABLE)}) beyond the last good day of the review due "
            "next, or beyond a missed appointment; counted on the day this time ran out. A child "
            "who was seen again is not lost: only the last state counts, so a gap that ended is "
            "not seen here. Declining care is loss on its day.",
            "Kaplan–Meier: the share not lost; followed until today, or until the child moved, was "
            "transferred, discharged or died (they are supposed to have stayed like the others). "
            "Interval: 95 %, Greenwood, log-log; none is told before the first loss.",
            f"What following ended with: {ends}.",
            *_lost_in_days(report),
            *_stops(len(rows), len(values)),
        ),
        values,
        ("TIME AFTER LENS REMOVAL", "FOLLOWED", "LOST SO FAR", "NOT LOST", "95 % INTERVAL"),
        tuple(
            (str(v["point"]), str(v["followed"]), str(v["lost"]), _percent(v), _interval(v))
            for v in rows
        ),
        nothing="Nobody has been followed for a month yet.",
    )


def _lost_in_days(report: Report) -> Iterator[str]:
    if report.asked.days.limited:
        lost = counted_children(report.lost_in_days)
        yield f"The table is of their whole time until today. Lost {report.asked.days}: {lost}."


def _loss_points(curve: Curve) -> Iterator[Values]:
    months = (1, 3, 6, *range(12, MOST_YEARS * 12 + 1, 12))
    for count in months:
        days = round(count * DAYS_PER_MONTH)
        if days > curve.longest_days:
            return
        step, followed = curve.at(days), curve.at_risk(days)
        low, high = step.interval or (None, None)
        unit, number = ("month", count) if count < 12 else ("year", count // 12)
        yield {
            "point": f"{number} {unit}{'' if number == 1 else 's'}",
            "days": days,
            "followed": followed,
            "lost": sum(s.events for s in curve.steps if s.days <= days),
            "percent": _round(100 * step.survival),
            "low": _round(low and 100 * low),
            "high": _round(high and 100 * high),
            "caution": caution(followed),
        }


def curve_values(curve: Curve) -> Iterator[Values]:
    """Every step of a curve, for whoever wants to draw or check it elsewhere."""
    for step in curve.steps:
        low, high = step.interval or (None, None)
        yield {
            "days": step.days,
            "at_risk": step.at_risk,
            "events": step.events,
            "censored": step.censored,
            "survival": round(step.survival, 6),
            "standard_error": round(step.standard_error, 6),
            "low": None if low is None else round(low, 6),
            "high": None if high is None else round(high, 6),
        }


def counted_children(number: int) -> str:
    return f"{number} {'child' if number == 1 else 'children'}"


def _cohort(report: Report) -> str:
    asked = report.asked
    when = f", {asked.operated}" if asked.operated.limited else ""
    return (
        f"Counted: {counted_children(report.operated)} whose first lens removal is known on "
        f"{asked.today}{when}; time zero is that day."
    )


def _whom(report: Report) -> str:
    operated = report.asked.operated
    return f"children first operated {operated}" if operated.limited else "all children"


def _in_days(report: Report, what: str) -> Iterator[str]:
    if report.asked.days.limited:
        yield f"{what} {report.asked.days}."


def _stops(shown: int, total: int) -> Iterator[str]:
    if shown < total:
        yield f"Later points, of fewer than {FEWEST} children, are in the spreadsheet file."


def _rests_on(report: Report, decision: str) -> str:
    table = report.protocol.edition(decision, report.asked.today).table
    sources = dict.fromkeys(row.source for row in table.rows)
    return "; ".join(
        "an assumption of this program" if s == ASSUMPTION else table.source(s).citation
        for s in sources
    )


def _elsewhere(points: Sequence[AtPoint]) -> Iterator[str]:
    """Each published source once, with the places in it."""
    because = [at.published.because for at in points if at.published]
    for citation in dict.fromkeys(b.citation for b in because):
        mine = [b for b in because if b.citation == citation]
        seen = "read in the source" if all(b.seen for b in mine) else "from memory"
        places = "; ".join(dict.fromkeys(b.at for b in mine))
        yield (
            "Elsewhere: what happened in a published cohort, not a target. "
            f"{citation.rstrip('.')}. Figures {seen}: {places}."
        )


def _percent(values: Values) -> str:
    percent, caution = values["percent"], values["caution"]
    if not isinstance(percent, float):
        return "-"
    # Neither all nor none is said of a share that is only nearly so.
    near = ">99" if 99.5 <= percent < 100 else "<1" if 0 < percent <= 0.5 else f"{percent:.0f}"
    return f"{near} %" + (f" ({caution})" if caution else "")


def _interval(values: Values) -> str:
    low, high = values["low"], values["high"]
    if not isinstance(low, float) or not isinstance(high, float):
        return "-"
    return f"{low:.0f} to {high:.0f} %"


def _days(days: Cell) -> str:
    return "not reached" if days is None else f"{days} days" if days != 1 else "1 day"


def _days_between(low: Cell, high: Cell) -> str:
    if low is None or low == high:
        return _days(low)
    return f"{low} to {_days(high)}" if high is not None else f"{low} days to not reached"


def _round(percent: float | None) -> float | None:
    return None if percent is None else round(percent, 1)
