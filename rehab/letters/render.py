"""The template environments of all letters and messages: strict about missing names."""

from functools import cache, lru_cache
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from rehab.shipped_files import shipped


@cache
def environment() -> Environment:
    """An environment for pages, which escapes everything; its templates come with the program."""
    return _environment(autoescape=True)


@lru_cache(maxsize=4)
def plain_environment(own: Path) -> Environment:
    """An environment for plain text; a template in the folder `own` takes the place of ours."""
    return _environment(own, autoescape=False)


def _environment(*first: Path, autoescape: bool) -> Environment:
    return Environment(
        loader=FileSystemLoader([*first, shipped("templates")]),
        undefined=StrictUndefined,
        autoescape=autoescape,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
