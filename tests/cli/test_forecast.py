"""The forecast of an eye, as a clinician asks for it at the desk."""

import json
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

from tests.conftest import Clinic


@pytest.fixture
def eye(clinic: Clinic) -> Clinic:
    """A child with one aphakic eye in a contact lens, refracted twice."""
    clinic.say("child add B-2 --name Ines --born 2025-11-10")
    clinic.say("surgery add B-2 --eye right --on 2026-01-10 --procedure 'lens removal'")
    for on, power in (("2026-02-10", "+20.00"), ("2026-04-10", "+18.50")):
        clinic.say(
            f"exam add B-2 --on {on} --refraction right={power} --wears 'right=contact lens'"
            " --cataract left=none"
        )
    return clinic


def forecast(eye: Clinic, *more: str) -> Any:
    return json.loads(eye.say(" ".join(("plan forecast B-2 --json", *more))))


def test_it_tells_measured_expected_and_band(eye: Clinic) -> None:
    (told,) = forecast(eye)
    assert told["eye"] == "right"
    assert [seen["dioptres"] for seen in told["measured"]] == [20.0, 18.5]
    powers = [e["dioptres"] for e in told["expected"]]
    assert powers == sorted(powers, reverse=True)
    assert all(e["band"][0] < e["dioptres"] < e["band"][1] for e in told["expected"])
    assert told["tolerance_dioptres"] == 3
    assert told["worn"]["dioptres"] > 18.5  # the same lens is stronger on the cornea
    assert told["because"]["decision"] == "refraction"


def test_it_says_when_and_why_the_next_refraction_falls_due(eye: Clinic) -> None:
    said = eye.say("plan forecast B-2")
    assert "Next refraction: " in said
    assert "D expected" not in said
    assert "by its table 6 months after lens removal of the right eye on 2026-01-10" in said
    assert "conjugate normal" in said


def test_the_chart_carries_its_words_and_no_colour(eye: Clinic, tmp_path: Path) -> None:
    eye.say(f"plan forecast B-2 --out {tmp_path}")
    drawing = (tmp_path / "B-2-right.svg").read_text(encoding="utf-8")
    root = ElementTree.fromstring(drawing)
    name = "{http://www.w3.org/2000/svg}"
    assert root.attrib["role"] == "img"
    words = root.findtext(f"{name}desc") or ""
    assert "Measured: +20.00 D on 2026-02-10, +18.50 D on 2026-04-10." in words
    assert "80% between" in words
    colours = {part.split('"')[0] for part in drawing.split('"#')[1:]}
    assert colours == {"fff", "ddd", "999", "777", "000", "333"}
    assert len(root.findall(f"{name}circle")) == 2


def test_the_same_facts_give_the_same_chart(eye: Clinic, tmp_path: Path) -> None:
    for folder in ("one", "two"):
        eye.say(f"plan forecast B-2 --out {tmp_path / folder}")
    one, two = ((tmp_path / f / "B-2-right.svg").read_bytes() for f in ("one", "two"))
    assert one == two


def test_an_eye_without_surgery_has_no_forecast(clinic: Clinic) -> None:
    clinic.say("child add B-3 --name Omar --born 2025-11-10")
    assert "no eye has been operated" in clinic.refuse("plan forecast B-3")


def test_surgery_from_seven_months_is_told_why_it_has_no_forecast(clinic: Clinic) -> None:
    clinic.say("child add B-4 --name Omar --born 2025-01-10")
    clinic.say("surgery add B-4 --eye left --on 2026-01-10 --procedure 'lens removal'")
    clinic.say("exam add B-4 --on 2026-02-10 --refraction left=+14.00 --wears left=glasses")
    (told,) = json.loads(clinic.say("plan forecast B-4 --json"))
    assert "no rate with its spread was published" in told["why_not"]
    assert told["next_refraction"] == "2026-04-10"


GROWTH = "measure growth +8.00 --age 3m --lens-status pseudophakic"


def test_growth_is_told_with_band_formula_and_source(clinic: Clinic) -> None:
    told = json.loads(clinic.say(f"{GROWTH} --to-age 5y --surgery-age 2m --json"))
    low, high = told["band_dioptres"]
    assert low < told["expected_dioptres"] < high
    assert high - low > 5  # evidence: one SD of the rate moves the answer by 5 to 7 D
    assert told["because"]["decision"] == "refraction_growth"


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ("--to-age 5y --surgery-age 4m", "the ages are not in order"),
        ("--to-age 12y --surgery-age 2m", "outside 1 month to 10.5 years"),
        ("--to-age 5y --surgery-age 2w", "No growth rate was published for surgery before 4 weeks"),
        ("--to-age soon --surgery-age 2m", "is no age with its unit"),
    ],
)
def test_growth_beyond_what_was_published_is_refused(clinic: Clinic, more: str, words: str) -> None:
    assert words in clinic.refuse(f"{GROWTH} {more}")
