"""Figures as tables: what stands in them, and the definitions under them."""

from dataclasses import replace
from datetime import date

from rehab.care.case import EndingKind
from rehab.care.figures import Attended, Period, attendance, windows
from rehab.care.survival import Followed, kaplan_meier
from rehab.report_desk import Asked, Figure, Report
from rehab.report_tables import curve_values, listing
from tests.care.cases import PROTOCOL
from tests.report_figures import TODAY, made_report


def test_attendance_shows_count_percent_interval_and_what_happened_elsewhere() -> None:
    table = listing(made_report(), Figure.ATTENDANCE)
    row = dict(zip(table.heads, table.rows[1], strict=True))
    assert row == {
        "TIME POINT": "1 month",
        "WINDOW, DAYS": "−10 to +14",
        "DUE": "6",
        "ATTENDED": "3",
        "PERCENT": "50 %",
        "95 % INTERVAL": "19 to 81 %",
        "ELSEWHERE": "85 %",
        "NOT YET DUE": "1",
        "LEFT OUT": "1 moved away",
    }
    assert table.values[1]["percent"] == 50.0
    assert table.values[1]["moved_away"] == 1


def test_fewer_than_five_children_are_shown_with_interval_and_a_caution() -> None:
    table = listing(made_report(), Figure.ATTENDANCE)
    row = dict(zip(table.heads, table.rows[4], strict=True))
    assert (row["DUE"], row["PERCENT"]) == ("4", "25 % (too few to judge)")
    assert row["95 % INTERVAL"] == "5 to 70 %"
    assert table.values[4]["caution"] == "too few to judge"


def test_the_notes_say_who_was_counted_how_and_that_elsewhere_is_no_target() -> None:
    notes = " ".join(listing(made_report(), Figure.ATTENDANCE).notes)
    for words in (
        f"known on {TODAY}",
        "attendance_window, an assumption of this program",
        "what happened in a published cohort, not a target",
        "Chougule P",
        "10.1136/bjophthalmol-2017-311294. Figures read in the source",
        "Wilson",
        "one who declined stays in",
    ):
        assert words in notes
    assert notes.count("Chougule P") == 1


def test_correction_tells_days_and_who_is_still_without() -> None:
    table = listing(made_report(), Figure.CORRECTION)
    row = dict(zip(table.heads, table.rows[0], strict=True))
    assert (row["EYES"], row["CORRECTED"], row["WITHOUT"]) == ("6", "4", "2")
    assert (row["QUARTER BY"], row["HALF BY"]) == ("10 days", "20 days")
    assert row["THREE QUARTERS BY"] == "not reached"
    assert row["95 % INTERVAL"] == "10 days to not reached"


def test_loss_is_told_at_time_points_as_far_as_anybody_was_followed() -> None:
    table = listing(made_report(), Figure.LOSS)
    assert [row[0] for row in table.rows] == ["1 month", "3 months", "6 months", "1 year"]
    assert table.rows[0][1:] == ("6", "0", "100 %", "-")
    assert table.rows[2][1:4] == ("5", "1", "83 %")
    assert "not seen for 90 days (table loss_to_follow_up, an assumption" in " ".join(table.notes)
    assert "5 in care, 1 lost" in " ".join(table.notes)


def test_later_points_of_fewer_than_five_are_in_the_file_only() -> None:
    counts: dict[tuple[str, Attended | EndingKind], int] = {
        ("1 week", Attended.YES): 9,
        ("7 years", Attended.NO): 1,
    }
    report = replace(
        made_report(),
        attendance=attendance(counts, windows(PROTOCOL, TODAY), PROTOCOL, TODAY),
        loss=kaplan_meier({Followed(400, False): 6, Followed(1200, False): 4}),
    )
    for figure, last_row, last_value in (
        (Figure.ATTENDANCE, "5 years", "7 years"),
        (Figure.LOSS, "1 year", "3 years"),
    ):
        table = listing(report, figure)
        assert (table.rows[-1][0], table.values[-1]["point"]) == (last_row, last_value)
        assert table.notes[-1].startswith("Later points, of fewer than 5 children, are in the")


def test_nearly_all_is_not_said_to_be_all() -> None:
    report = replace(
        made_report(), loss=kaplan_meier({Followed(40, True): 1, Followed(400, False): 399})
    )
    (one_month, three_months, *_) = listing(report, Figure.LOSS).rows
    assert (one_month[3], three_months[3]) == ("100 %", ">99 %")


def test_a_curve_is_told_step_by_step() -> None:
    curve = kaplan_meier({Followed(3, True): 1, Followed(5, False): 1})
    assert [v["survival"] for v in curve_values(curve)] == [0.5, 0.5]
    assert [v["at_risk"] for v in curve_values(curve)] == [2, 1]


def test_children_without_a_date_are_told_by_number_and_last_day_seen() -> None:
    table = listing(made_report(), Figure.NO_DATE)
    assert table.rows == (
        ("K-3", "-", "-", "-"),
        ("K-1", "2026-05-01", "214", "2026-01-10"),
    )


def test_checks_are_told_by_kind() -> None:
    table = listing(made_report(), Figure.WINDOWS)
    assert table.rows == (
        ("pressure check", "2", "6", "3", "1", "2", "0", "50 % (too few to judge)", "19 to 81 %"),
    )


def test_where_there_is_nothing_the_table_says_so() -> None:
    report = made_report()
    asked = Asked(tuple(Figure), Period(), Period(), date(2026, 1, 10))
    nobody = kaplan_meier({})
    none = Report(asked, report.protocol, 1, 0, (), (), (), (), nobody, (), 0, ())
    assert listing(none, Figure.NO_DATE).nothing == "Every child in care has a date."
    assert listing(none, Figure.WINDOWS).nothing == "No check fell due."
    assert listing(none, Figure.LOSS).nothing == "Nobody has been followed for a month yet."
