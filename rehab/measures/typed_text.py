"""What people type, made plain: one minus, one times sign, single spaces, lower case."""

_LOOKALIKES = str.maketrans(
    {
        "−": "-",
        "–": "-",
        "‐": "-",
        "‑": "-",
        "×": "x",
        "✕": "x",
        "⁄": "/",
        "∕": "/",
        "°": " ",
        "º": " ",
        "’": "'",
    }
)
_QUOTED_LENGTH = 40


def plain(text: str) -> str:
    """`text` in lower case, with lookalike signs unified and runs of white space made one space."""
    return " ".join(text.translate(_LOOKALIKES).lower().split())


def visible(text: str) -> str:
    """`text` with escapes for what a terminal would obey instead of showing."""
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() else repr(c)[1:-1] for c in text)


def quoted(text: str) -> str:
    """`text` as a message repeats it: in quotes, cut when long."""
    short = visible(" ".join(text.split()))
    return f'"{short[:_QUOTED_LENGTH]}…"' if len(short) > _QUOTED_LENGTH else f'"{short}"'
