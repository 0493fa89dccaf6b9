"""A letter as one HTML page, for a screen, an e-mail or a browser's print."""

from rehab.letters.letter import Letter
from rehab.letters.render import environment


def html_of(letter: Letter, *, large_print: bool = False) -> str:
    """The page; the same letter gives the same bytes."""
    template = environment().get_template("letters/page.html")
    return template.render(letter=letter, large_print=large_print)
