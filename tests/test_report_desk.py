"""The figures of a whole clinic, counted in one pass over its records."""

from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest

from rehab.care.case import Case, CheckKind
from rehab.care.figures import Period
from rehab.care.proportion import TOO_FEW
from rehab.case_files import case_from
from rehab.errors import RecordError
from rehab.report_desk import Asked, Figure, Report, report
from rehab.settings import Clinic, Settings
from rehab.store.store import Stamp, create_or_upgrade
from rehab.workflow import Desk, open_desk, register
from tests.care.cases import removal

TODAY = date(2027, 6, 1)
STAMP = Stamp("M. Okoro", datetime(2027, 6, 1, tzinfo=UTC), "for a test")


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    settings = Settings(tmp_path, Clinic("Harbour Eye Clinic"))
    create_or_upgrade(settings.database_url)
    opened = open_desk(settings)
    with closing(opened.store):
        yield opened


def told(number: str, operated: date | None, **facts: Any) -> Case:
    surgery = [removal("right", operated)] if operated else []
    born = date(2025, 11, 10)
    return case_from({"number": number, "name": "T", "born": born, "surgery": surgery, **facts})


def counted(desk: Desk, *cases: Case, figures: tuple[Figure, ...] = tuple(Figure),
            days: Period | None = None, operated: Period | None = None) -> Report:  # fmt: skip
    for case in cases:
        register(desk, case, today=TODAY, stamp=STAMP)
    return report(desk, Asked(figures, days or Period(), operated or Period(), TODAY))


SEEN = [{"on": date(2026, 2, 10), "right": {"wears": "contact lens"}}]
ONE = told("K-1", date(2026, 1, 10), exam=SEEN)
OTHER = told("K-2", date(2027, 1, 10))
NEVER = told("K-3", None)


def test_one_pass_gives_every_figure(desk: Desk) -> None:
    made = counted(desk, ONE, OTHER, NEVER)
    assert (made.children, made.operated, made.failed) == (3, 2, ())
    assert {at.window.point: at.attended.total for at in made.attendance}["1 month"] == 2
    (everybody, _), (aphakic, curve) = [(label, c.total) for label, c in made.corrections][:2]
    assert (everybody, aphakic, curve) == ("all eyes", "aphakic", 2)
    assert (made.loss.total, dict(made.ends)) == (2, {"lost": 2})
    assert [one.number for one in made.no_date] == ["K-3", "K-1", "K-2"], "longest unseen first"
    review = next(c for c in made.checks if c.kind is CheckKind.REVIEW)
    assert (review.children, review.caution) == (2, TOO_FEW)


def test_a_figure_that_was_not_asked_for_is_empty(desk: Desk) -> None:
    made = counted(desk, ONE, figures=(Figure.LOSS,))
    assert (made.loss.total, made.corrections, made.checks, made.no_date) == (1, (), (), ())


def test_children_may_be_chosen_by_their_first_lens_removal(desk: Desk) -> None:
    made = counted(desk, ONE, OTHER, NEVER, operated=Period(date(2027, 1, 1)))
    assert (made.operated, made.loss.total) == (1, 1)
    assert [one.number for one in made.no_date] == ["K-2"]
    review = next(c for c in made.checks if c.kind is CheckKind.REVIEW)
    assert review.children == 1


def test_a_month_tells_what_fell_due_and_happened_in_it(desk: Desk) -> None:
    # K-1, seen once a month after its operation, was lost 90 days after the review of April.
    february, july = (Period(date(2026, m, 1), date(2026, m, d)) for m, d in ((2, 28), (7, 31)))
    made = counted(desk, ONE, OTHER, NEVER, days=february)
    due = [(at.window.point, at.attended.count) for at in made.attendance if at.attended.total]
    assert due == [("1 month", 1)], "the one window that ended in February"
    assert (made.corrections, made.lost_in_days) == ((), 0), "no eye was operated in it"
    assert made.loss.total == 2, "the curve is of all children"
    assert len(made.no_date) == 3, "as it stands today"
    assert counted(desk, days=july).lost_in_days == 1


def test_a_clinic_without_children_has_nothing_to_count(desk: Desk) -> None:
    with pytest.raises(RecordError, match=r"no child is recorded.*rehab child add"):
        counted(desk)


def test_where_nobody_was_operated_the_figures_of_operated_children_say_so(desk: Desk) -> None:
    with pytest.raises(RecordError, match=r"no child had its lens removed \(all days, as known"):
        counted(desk, NEVER)
    assert [n.number for n in counted(desk, figures=(Figure.NO_DATE,)).no_date] == ["K-3"]
    assert counted(desk, figures=(Figure.WINDOWS,)).checks == ()


def test_a_child_whose_plan_cannot_be_replayed_is_told_and_the_others_are_counted(
    desk: Desk,
) -> None:
    editions = {
        **desk.protocol.editions,
        "window_width": tuple(
            replace(e, table=replace(e.table, effective=date(2026, 6, 1)))
            for e in desk.protocol.editions["window_width"]
        ),
    }
    strict = replace(desk, protocol=replace(desk.protocol, editions=editions))
    late = told("K-9", date(2026, 6, 10))
    made = counted(strict, ONE, late, figures=(Figure.WINDOWS,))
    assert [number for number, _ in made.failed] == ["K-1"]
    assert "no edition is in force on 2026-01-10" in made.failed[0][1]
    assert [c.children for c in made.checks if c.kind is CheckKind.REVIEW] == [1]
