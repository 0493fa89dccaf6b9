"""Options and output that the commands of the diary share."""

import re
from collections.abc import Mapping
from typing import Any

import click

from rehab.cli.options import Day
from rehab.diary_desk import Changed
from rehab.diary_text import affected_lines, held_again_lines, record_text


class Years(click.ParamType[range]):
    """One year, or the first and the last of several."""

    name = "years"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> range:
        found = re.fullmatch(r"([0-9]{4})(?:-([0-9]{4}))?", str(value))
        if found is None or int(found[2] or found[1]) < int(found[1]):
            self.fail(f"{value!r} is not years; write such as 2027 or 2026-2028", param, ctx)
        return range(int(found[1]), int(found[2] or found[1]) + 1)


last_day_option = click.option(
    "--until", "last_day", type=Day(), help="The last day, itself included."
)


def given_only(given: Mapping[str, Any]) -> dict[str, Any]:
    """What was said on the command line."""
    unsaid = (None, False, ())
    return {n: value for n, value in given.items() if not any(value is one for one in unsaid)}


def tell(changed: Changed, done: str = "Recorded") -> None:
    click.echo(f"{done} {changed.key.removeprefix('@')}: {record_text(changed.record)}.")
    for line in (*affected_lines(changed.affected), *held_again_lines(changed.held_again)):
        click.echo(line)
