"""The one template environment of all letters: strict about missing names, escaping everything."""

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from rehab.shipped_files import shipped


def environment() -> Environment:
    """An environment that reads the templates that come with the program."""
    return Environment(
        loader=FileSystemLoader(shipped("templates")),
        undefined=StrictUndefined,
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
