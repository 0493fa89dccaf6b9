"""The template environments of all letters, messages and pages: strict about missing names."""

from functools import cache, lru_cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from rehab.shipped_files import shipped

OPTIONS: dict[str, Any] = {
    "undefined": StrictUndefined,
    "trim_blocks": True,
    "lstrip_blocks": True,
    "keep_trailing_newline": True,
}


@cache
def environment() -> Environment:
    """An environment for pages, which escapes everything; its templates come with the program."""
    return Environment(loader=FileSystemLoader(shipped("templates")), autoescape=True, **OPTIONS)


@lru_cache(maxsize=4)
def plain_environment(own: Path) -> Environment:
    """An environment for plain text; a template in the folder `own` takes the place of ours."""
    return Environment(
        loader=FileSystemLoader([own, shipped("templates")]), autoescape=False, **OPTIONS
    )
