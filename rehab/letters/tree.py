"""The body of a letter as a tree that a layout can follow, in a small vocabulary of elements."""

import re
from base64 import b64decode
from typing import Any
from xml.etree.ElementTree import Element, ParseError, fromstring

from rehab.errors import LetterError

BLOCKS = frozenset({
    "header", "section", "div", "h1", "h2", "h3", "p", "ul", "ol", "li", "dl", "dt", "dd", "table",
    "thead", "tbody", "tr", "th", "td", "figure", "figcaption", "img",
})  # fmt: skip
INLINE = frozenset({"b", "span", "time", "bdi", "br", "a"})
BLANKS = re.compile(r"[ \t\r\n]+")
SVG = "data:image/svg+xml;base64,"

Node = dict[str, Any]


def tree(body: str, where: str) -> Node:
    """Each element as tag `t`, class `c`, children `k` (elements and text), and what else it says.

    Raises LetterError for what is not well-formed or not in the vocabulary.
    """
    try:
        root = fromstring(f"<body>{body}</body>")
    except ParseError as error:
        line, column = error.position
        raise LetterError(
            f"this is not well-formed: {error}.",
            where=where,
            do=f"Look at line {line} of what the template makes, near column {column}: close every "
            "element, as in <br/>.",
        ) from error
    try:
        return _node(root, where)
    except RecursionError:
        raise LetterError(
            "its elements lie in each other too deeply.", where=where, do="Use fewer of them."
        ) from None


def _node(element: Element, where: str) -> Node:
    tag = element.tag
    if tag not in BLOCKS and tag not in INLINE and tag != "body":
        raise LetterError(
            f"a letter cannot hold <{tag}>.",
            where=where,
            do=f"Use {', '.join(sorted(BLOCKS | INLINE))}.",
        )
    node: Node = {"t": tag, "c": (element.get("class") or "").split()}
    if tag == "img":
        return {**node, "alt": element.get("alt", ""), "svg": _svg(element, where)}
    if ltr := element.get("dir"):
        node["dir"] = ltr
    if lang := element.get("lang"):
        node["lang"] = lang
    if href := element.get("href"):
        node["href"] = href
    node["k"] = _children(element, where)
    return node


def _children(element: Element, where: str) -> list[Node | str]:
    parts: list[Node | str] = [element.text or ""]
    for child in element:
        parts += [_node(child, where), child.tail or ""]
    texts = [BLANKS.sub(" ", part) if isinstance(part, str) else part for part in parts]
    if element.tag in INLINE:
        return [text for text in texts if text != ""]
    ends = (None, *texts, None)
    trimmed = map(_trimmed, ends, ends[1:], ends[2:])
    return [text for text in trimmed if text != "" and text is not None]


def _trimmed(
    before: Node | str | None, part: Node | str | None, after: Node | str | None
) -> Node | str | None:
    """As a browser shows it: no blank at the ends of a line. A no-break space stays."""
    if not isinstance(part, str):
        return part
    part = part.lstrip(" ") if _ends_line(before) else part
    return part.rstrip(" ") if _ends_line(after) else part


def _ends_line(part: Node | str | None) -> bool:
    return not isinstance(part, str) and (
        part is None or part["t"] == "br" or part["t"] not in INLINE
    )


def _svg(element: Element, where: str) -> str:
    source = element.get("src", "")
    if not source.startswith(SVG) or not element.get("alt"):
        raise LetterError(
            "a picture must be SVG in the letter itself, with words that say what it shows.",
            where=where,
            do='Use face() or picture("kind", svg, "words").',
        )
    return b64decode(source.removeprefix(SVG)).decode()
