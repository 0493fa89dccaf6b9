"""Collects the messages of all letters into their catalogues: `python -m tests.write_messages`.

A new message comes in without a translation, one that is no longer said goes out; nothing is
guessed from a similar one.
"""

from collections.abc import Iterator
from io import BytesIO
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_dir
from babel.messages.pofile import read_po, write_po

from rehab.letters.languages import SOURCE
from rehab.settings import LETTER_LANGUAGES

ROOT = Path(__file__).parents[1]
CATALOGUES = ROOT / "templates" / "languages"
METHODS = [("letters/**.html", "jinja2"), ("**.py", "python")]
OPTIONS = {"letters/**.html": {"trimmed": "true", "silent": "false"}}
# What the header of a catalogue need not say: it would differ each day, or holds nobody's name.
UNSAID = (
    "POT-Creation-Date", "PO-Revision-Date", "Generated-By", "Last-Translator", "Language-Team",
    "Report-Msgid-Bugs-To",
)  # fmt: skip


def template_catalogue() -> Catalog:
    """Every message that a letter says, without a translation, in order."""
    made = Catalog(project="letters", fuzzy=False)
    for message, context in sorted(set(_messages()), key=str):
        made.add(message, context=context)
    return made


def _messages() -> Iterator[tuple[str | tuple[str, str], str | None]]:
    for folder in (ROOT / "templates", ROOT / "rehab" / "letters"):
        found = extract_from_dir(folder, METHODS, OPTIONS)
        for _, _, message, _, context in found:
            yield (message if isinstance(message, str) else (message[0], message[1])), context


def brought_up_to_date(code: str, source: Catalog) -> bytes:
    """The catalogue of a language with just the messages of `source`."""
    path = CATALOGUES / f"{code}.po"
    known_words = path.read_bytes() if path.is_file() else b""
    old = read_po(BytesIO(known_words), locale=code)
    made = Catalog(locale=code, project="letters", fuzzy=False, header_comment="")
    for message in source:
        if message.id:
            known = old.get(message.id, message.context)
            empty = "" if isinstance(message.id, str) else ("",)
            string = known.string if known and known.pluralizable == message.pluralizable else empty
            made.add(message.id, string, context=message.context)
    out = BytesIO()
    write_po(out, made, width=0, omit_header=False)
    stamped = tuple(f'"{field}'.encode() for field in UNSAID)
    lines = [line for line in out.getvalue().splitlines(True) if not line.startswith(stamped)]
    return b"".join(lines)


def main() -> None:
    CATALOGUES.mkdir(exist_ok=True)
    source = template_catalogue()
    for code in LETTER_LANGUAGES:
        if code != SOURCE:
            (CATALOGUES / f"{code}.po").write_bytes(brought_up_to_date(code, source))


if __name__ == "__main__":
    main()
