"""A small report for tests of what is made of one."""

from collections import Counter
from datetime import date, timedelta

from rehab.care.case import CheckKind, EndingKind
from rehab.care.figures import Attended, NoDate, Period, attendance, windows
from rehab.care.survival import Followed, kaplan_meier
from rehab.care.timeliness import Done
from rehab.report_desk import Asked, Checks, Figure, Report
from tests.care.cases import PROTOCOL

TODAY = date(2026, 12, 1)


def made_report() -> Report:
    """Six children due at one month, four at one year; one was lost."""
    points = windows(PROTOCOL, TODAY)
    counts: Counter[tuple[str, Attended | EndingKind]] = Counter(
        {
            ("1 week", Attended.YES): 6,
            ("1 month", Attended.YES): 3,
            ("1 month", Attended.NO): 3,
            ("1 month", Attended.NOT_YET): 1,
            ("1 month", EndingKind.MOVED): 1,
            ("1 year", Attended.YES): 1,
            ("1 year", Attended.NO): 3,
        }
    )
    corrected = {Followed(10, True): 2, Followed(20, True): 2, Followed(30, False): 2}
    checks = (
        (Done.INSIDE, 3), (Done.EARLY, 1), (Done.LATE, 2), (Done.NOT_DONE, 0),
    )  # fmt: skip
    return Report(
        asked=Asked(tuple(Figure), Period(), Period(), TODAY),
        protocol=PROTOCOL,
        children=8,
        operated=7,
        attendance=attendance(counts, points, PROTOCOL, TODAY),
        corrections=(
            ("all eyes", kaplan_meier(corrected)),
            ("aphakic", kaplan_meier({Followed(10, True): 2, Followed(20, True): 2})),
            ("pseudophakic", kaplan_meier({Followed(30, False): 2})),
        ),
        checks=(Checks(CheckKind.PRESSURE, 2, checks),),
        no_date=(
            NoDate("K-3", None, None),
            NoDate("K-1", TODAY - timedelta(days=214), date(2026, 1, 10)),
        ),
        loss=kaplan_meier({Followed(120, True): 1, Followed(400, False): 5}),
        ends=(("in care", 5), ("lost", 1)),
        lost_in_days=1,
        failed=(),
    )
