"""Refills the README's blocks of output: `python -m tests.write_readme`; read the diff."""

import contextlib
import re
import shlex
import tempfile
from pathlib import Path

from click.testing import CliRunner

from rehab.cli.main import rehab

README = Path(__file__).parents[1] / "README.md"
BLOCKS = {"demo output": "demo --out demo", "provenance": "protocol check"}


def main() -> None:
    text = README.read_text(encoding="utf-8")
    for marker, line in BLOCKS.items():
        with tempfile.TemporaryDirectory() as folder, contextlib.chdir(folder):
            result = CliRunner().invoke(rehab, shlex.split(line), prog_name="rehab")
        if result.exit_code:
            raise SystemExit(f"rehab {line} failed: {result.output}")
        block = re.compile(rf"(<!-- {marker} -->\n```\w*\n).*?(^```$)", re.DOTALL | re.MULTILINE)
        found = block.search(text)
        assert found, f"README has no block marked {marker}"
        text = text[: found.start()] + found[1] + result.stdout + found[2] + text[found.end() :]
    README.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
