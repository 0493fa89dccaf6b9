"""Where the folders lie that come with the program: migrations, templates, demo data."""

from pathlib import Path

from rehab.errors import RehabError


def shipped(folder: str) -> Path:
    """The folder inside the installed package, or at the root of the source tree."""
    package = Path(__file__).parent
    for place in (package / f"_{folder}", package.parent / folder):
        if place.is_dir():
            return place
    raise RehabError(
        "this folder of the program is missing.",
        where=str(package / f"_{folder}"),
        do="Install the program again.",
    )
