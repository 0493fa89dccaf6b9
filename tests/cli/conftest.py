"""A clinic with an appointment ahead, and what its outbox holds."""

import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from tests.conftest import Clinic

THREE_BEFORE, TWO_BEFORE, ONE_BEFORE, THE_DAY = (f"2026-05-0{day}" for day in (1, 2, 3, 4))
MOTHER = (
    'contact add K-017 --name "Aigul T" --relation mother --phone "+00 555 0118" '
    "--email aigul@example.org --text-consent yes --email-consent yes"
)


@pytest.fixture(scope="session")
def booked_home(asel_home: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    clinic = Clinic(shutil.copytree(asel_home, tmp_path_factory.mktemp("booked") / "clinic"))
    clinic.say(MOTHER)
    clinic.say("appointment book K-017 2026-05-04")
    return clinic.home


@pytest.fixture(scope="session")
def written_home(booked_home: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    clinic = Clinic(shutil.copytree(booked_home, tmp_path_factory.mktemp("written") / "clinic"))
    assert write(clinic, THREE_BEFORE) == ["2 messages written."]
    return clinic.home


@pytest.fixture
def written(written_home: Path, tmp_path: Path) -> Clinic:
    """As `booked`, and on 1 May both messages were written to the outbox."""
    return Clinic(shutil.copytree(written_home, tmp_path / "clinic"))


@pytest.fixture
def booked(booked_home: Path, tmp_path: Path) -> Clinic:
    """K-017 is booked on Monday, 4 May; its mother agreed to texts and e-mails."""
    return Clinic(shutil.copytree(booked_home, tmp_path / "clinic"))


def write(clinic: Clinic, today: str) -> list[str]:
    return clinic.say(f"reminder write --today {today}").splitlines()


def send(clinic: Clinic, today: str, more: str = "") -> list[str]:
    out = clinic.home.parent / "out"
    return clinic.say(f"reminder send --folder '{out}' --today {today} {more}").splitlines()


def outbox(clinic: Clinic, more: str = "") -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads(clinic.say(f"reminder list --json {more}"))
    return found


def states(clinic: Clinic) -> list[tuple[str, int, str]]:
    return sorted((m["way"], m["days_before"], m["state"]) for m in outbox(clinic))


def gone_out(clinic: Clinic) -> list[str]:
    """What whoever sends from the folder finds in it."""
    return sorted(
        json.loads(path.read_text())["way"] for path in (clinic.home.parent / "out").glob("*.json")
    )
