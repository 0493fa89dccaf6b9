"""Commands: see every version of what was recorded, and withdraw what was entered in error."""

from datetime import date
from pathlib import Path

import click

from rehab import corrections
from rehab.cli.options import desk, json_option, stamped_with_reason, today_option
from rehab.cli.output import print_columns, print_json
from rehab.store.store import Stamp


@click.group()
def record() -> None:
    """See who recorded what, and withdraw errors."""


@record.command()
@click.argument("number")
@json_option
@click.pass_obj
def history(home: Path | None, number: str, as_json: bool) -> None:
    """Show every version of everything about the child NUMBER: who wrote it, when and why.

    Example: rehab record history K-017
    """
    versions = desk(home).store.history(number)
    if as_json:
        print_json(
            [
                {
                    "key": v.key,
                    "version": v.version,
                    "by": v.stamp.by,
                    "at": v.stamp.at.isoformat(),
                    "why": v.stamp.reason,
                    "withdrawn": v.withdrawn,
                }
                for v in versions
            ]
        )
        return
    print_columns(
        (
            (v.key, v.version, v.stamp.by, f"{v.stamp.at:%Y-%m-%d %H:%M}",
             "withdrawn" if v.withdrawn else "", v.stamp.reason)
            for v in versions
        ),
        ("KEY", "VERSION", "BY", "AT (UTC)", "", "WHY"),
    )  # fmt: skip


@record.command()
@click.argument("key")
@stamped_with_reason
@today_option
@click.pass_obj
def withdraw(home: Path | None, key: str, today: date, stamp: Stamp) -> None:
    """Withdraw the record KEY, such as K-017/X1, as entered in error; its history stays.

    Example: rehab record withdraw K-017/X1 --why "another child's findings" --who "M. Okoro"
    """
    corrections.withdraw(desk(home), key, today=today, stamp=stamp)
    click.echo(f"Withdrawn {key}.")
