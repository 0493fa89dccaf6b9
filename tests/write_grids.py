"""Rewrite the stored grids: `python -m tests.write_grids`. Review the difference clinically."""

from pathlib import Path

from rehab.rules.grid import printed_grid
from rehab.table_files import read_protocol

GRIDS = Path(__file__).parent / "grids"


def grids() -> dict[str, str]:
    """The newest edition of each built-in decision, printed, by file name."""
    return {
        f"{decision}.txt": printed_grid(editions[-1])
        for decision, editions in read_protocol().editions.items()
    }


if __name__ == "__main__":
    printed = grids()
    for old in GRIDS.glob("*.txt"):
        if old.name not in printed:
            old.unlink()
    for name, text in printed.items():
        (GRIDS / name).write_text(text, encoding="utf-8")
