"""The drawings of letters: no words, so that nothing in them can be translated wrongly."""

from rehab.care.case import Eye
from rehab.letters.render import environment


def face_svg(covered: Eye) -> str:
    """A child's face as someone who looks at the child sees it: its right eye is on their left."""
    return environment().get_template("letters/face.svg").render(covered=covered)
