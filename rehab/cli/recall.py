"""Commands: list the families whom someone must contact."""

from datetime import date, timedelta
from pathlib import Path

import click

from rehab import workflow
from rehab.care.recall import CONTACT
from rehab.cli.options import Day, desk, json_option, today_option
from rehab.cli.output import because_json, print_columns, print_json
from rehab.recall_files import recall_csv
from rehab.whole_files import write_whole


@click.group()
def recall() -> None:
    """List the families whom someone must contact."""


@recall.command("list")
@click.option(
    "--by", type=Day(), help="Look ahead to windows that close by this day (else 14 days)."
)
@click.option(
    "--csv", "csv_file", type=click.Path(path_type=Path, dir_okay=False), help="Write a file."
)
@today_option
@json_option
@click.pass_obj
def list_recall(
    home: Path | None, by: date | None, csv_file: Path | None, today: date, as_json: bool
) -> None:
    """List each family once, with the reasons, the most urgent first.

    Example: rehab recall list --by 2026-05-31 --csv recall.csv
    """
    lines = workflow.recall(desk(home), today=today, by=by or today + timedelta(days=14))
    if csv_file is not None:
        write_whole(csv_file, recall_csv(lines))
        click.echo(f"Wrote {csv_file}: {len(lines)} families.")
    elif as_json:
        print_json(
            [
                {
                    "child": line.child.number,
                    "name": line.child.name,
                    "phone": line.child.phone,
                    "urgency": line.urgency,
                    "reasons": list(line.reasons),
                    "come_by": line.come_by and line.come_by.isoformat(),
                    "days_overdue": line.days_overdue,
                    "times_not_brought": line.times_not_brought,
                    "because": because_json(line.because),
                }
                for line in lines
            ]
        )
    elif not lines:
        click.echo("Nobody needs to be contacted.")
    else:
        print_columns(
            (
                (CONTACT[line.urgency], line.child.number, line.child.name, line.child.phone,
                 line.come_by or "",
                 "; ".join(line.reasons))
                for line in lines
            ),
            ("CONTACT", "NUMBER", "NAME", "PHONE", "COME BY", "WHY"),
        )  # fmt: skip
