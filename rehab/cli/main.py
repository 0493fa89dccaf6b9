"""The `rehab` command: finds the noun, imports it only then, and maps errors to output once."""

import importlib
import io
import sys
from keyword import iskeyword
from pathlib import Path
from typing import Any

import click

from rehab import __version__
from rehab.errors import RehabError
from rehab.measures.typed_text import visible

NOUNS = {
    "init": ("rehab.cli.clinic", "Make or update a clinic's folder and database."),
    "demo": ("rehab.cli.clinic", "Run the whole job on an invented clinic."),
    "child": ("rehab.cli.child", "Register children and see what is recorded."),
    "import": ("rehab.cli.import_children", "Prepare a table of children to be imported."),
    "surgery": ("rehab.cli.surgery", "Record operations."),
    "exam": ("rehab.cli.exam", "Record examinations."),
    "record": ("rehab.cli.record", "See who recorded what, and withdraw errors."),
    "appointment": (
        "rehab.cli.appointment",
        "Book and move a visit, and record what became of it.",
    ),
    "diary": ("rehab.cli.diary", "Keep the clinic's sessions, closures and holidays."),
    "booking": ("rehab.cli.booking", "Propose places for many visits at once, and book them."),
    "contact": ("rehab.cli.contact", "Record how a family is reached, and every try."),
    "occlusion": ("rehab.cli.occlusion", "Propose, decide and follow occlusion."),
    "wear": ("rehab.cli.wear", "Record what was worn, and count it."),
    "prescription": (
        "rehab.cli.prescription",
        "Record drops and other treatment as prescribed.",
    ),
    "plan": ("rehab.cli.plan", "See what falls due, and why."),
    "measure": ("rehab.cli.measure", "Convert and judge one measurement, with its source."),
    "protocol": ("rehab.cli.protocol", "Read, prove and question the decision tables."),
    "calendar": ("rehab.cli.calendar", "Write calendars and feeds, and publish to a server."),
    "reminder": ("rehab.cli.reminder", "Remind families of their appointments."),
    "letter": ("rehab.cli.letter", "Write letters."),
    "recall": ("rehab.cli.recall", "List the families whom someone must contact."),
    "report": ("rehab.cli.report", "Count how follow-up goes, in a month or in all."),
}


class Nouns(click.Group):
    """A group whose commands are imported when they are called, so that help stays quick."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(NOUNS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in NOUNS:
            return None
        name = f"{cmd_name}_" if iskeyword(cmd_name) else cmd_name
        command: click.Command = getattr(importlib.import_module(NOUNS[cmd_name][0]), name)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(noun, text) for noun, (_, text) in NOUNS.items()])

    def main(self, *args: Any, **extra: Any) -> Any:
        for stream in (sys.stdout, sys.stderr):
            if isinstance(stream, io.TextIOWrapper):
                # A name that the terminal cannot show must not end the command half-way.
                stream.reconfigure(errors="backslashreplace")
        try:
            return super().main(*args, **extra)
        except OSError as error:
            place = f"{error.filename}: " if error.filename else ""
            click.echo(
                f"Error: {place}{error.strerror}. What was recorded before this stays recorded: "
                "look before you repeat.",
                err=True,
            )
            sys.exit(1)

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except RehabError as error:
            # A file or a line may hold what would steer the terminal.
            said = "\n".join(map(visible, str(error).split("\n")))
            raise click.ClickException(said) from error
        except UnicodeEncodeError as error:
            raise click.ClickException(
                f"{error.object!a} is not readable text. Nothing was written. Type it in UTF-8."
            ) from error


@click.group(cls=Nouns)
@click.option(
    "--home",
    type=click.Path(path_type=Path, file_okay=False),
    help="The clinic's folder (else REHAB_HOME, else ./clinic).",
)
@click.version_option(__version__, message="rehab %(version)s")
@click.pass_context
def rehab(ctx: click.Context, home: Path | None) -> None:
    """Follow-up and occlusion therapy after childhood cataract surgery.

    The tool proposes; a clinician decides. Local protocols come first.

    Example: rehab demo --out demo
    """
    ctx.obj = home
