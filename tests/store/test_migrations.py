"""The migrations make the tables that the program expects, and keep what is in them."""

import re
import shutil
import subprocess
import sys
from collections import defaultdict
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory
from sqlalchemy import text

from rehab.care.case import (
    Cause,
    Child,
    Examination,
    Eye,
    EyeFindings,
    Method,
    Prescription,
    Procedure,
    Regimen,
    Surgery,
    Sutures,
    Symptoms,
)
from rehab.care.sharing import SchoolTopic, Sharing
from rehab.errors import StoreError
from rehab.measures.acuity import parse_acuity
from rehab.measures.refraction import Refraction
from rehab.shipped_files import shipped
from rehab.store.database import engine_of
from rehab.store.schema import REVISION, metadata
from rehab.store.store import Stamp, create_or_upgrade, open_store

ROOT = Path(__file__).parents[2]


def _config(url: str) -> Config:
    config = Config(toml_file=ROOT / "pyproject.toml")
    config.attributes["url"] = url
    return config


# What PostgreSQL knows of each table: columns, constraints and indexes, each in its own words.
PARTS = """
SELECT class.relname, concat_ws(' ', attname, format_type(atttypid, atttypmod), collname,
    attnotnull, pg_get_expr(adbin, adrelid))
FROM pg_attribute JOIN pg_class AS class ON class.oid = attrelid AND class.relkind = 'r'
    LEFT JOIN pg_attrdef ON adrelid = attrelid AND adnum = attnum
    LEFT JOIN pg_collation AS c ON c.oid = attcollation
WHERE class.relnamespace = current_schema::regnamespace AND attnum > 0 AND NOT attisdropped
UNION SELECT conrelid::regclass::text, concat_ws(' ', conname, pg_get_constraintdef(oid))
FROM pg_constraint WHERE connamespace = current_schema::regnamespace
UNION SELECT tablename, indexdef FROM pg_indexes WHERE schemaname = current_schema
"""


def _tables_and_indexes(url: str) -> dict[str, list[str]]:
    """What each table and index is made of; a column added later stands after the constraints."""
    engine = engine_of(url)
    found: dict[str, list[str]] = defaultdict(list)
    with engine.connect() as connection:
        if engine.dialect.name == "sqlite":
            query = "SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL"
            for name, words in connection.execute(text(query)):
                found[name] = sorted(_parts(words))
        else:
            for name, part in sorted(map(tuple, connection.execute(text(PARTS)))):
                found[name].append(part)
    engine.dispose()
    found.pop("alembic_version", None)
    return dict(found)


def _run(url: str, statements: str) -> None:
    """Runs statements that are the same in every kind of database."""
    engine = engine_of(url, foreign_keys=False)
    with engine.connect().execution_options(writes=True) as connection, connection.begin():
        for statement in statements.split(";\n"):
            if statement.strip():
                connection.exec_driver_sql(statement)
    engine.dispose()


def _parts(sql: str) -> Iterator[str]:
    """The statement cut at the commas of its outermost brackets."""
    words = re.sub(r"\s+", " ", sql)
    start, end = words.index("("), words.rindex(")")
    # A table that was rebuilt is renamed, and SQLite quotes a name that it was given so.
    yield words[:start].replace('"', "").strip()
    depth, part = 0, ""
    for character in words[start + 1 : end]:
        depth += (character == "(") - (character == ")")
        if character == "," and depth == 0:
            yield part.strip()
            part = ""
        else:
            part += character
    yield part.strip()


def test_the_program_expects_the_newest_migration() -> None:
    scripts = ScriptDirectory.from_config(_config(""))
    revisions = [script.revision for script in scripts.walk_revisions()]
    assert scripts.get_heads() == [REVISION]
    assert all(re.fullmatch(r"\d{4}", revision) for revision in revisions)
    assert revisions == sorted(revisions, reverse=True), "older and newer are told apart as text"


def test_alembic_finds_nothing_that_the_migrations_forgot(url: str) -> None:
    create_or_upgrade(url)
    command.check(_config(url))


def test_migrated_tables_are_word_for_word_those_of_the_schema(url: str) -> None:
    """Unlike `alembic check` this sees a vocabulary to which a word was added."""
    create_or_upgrade(url)
    migrated = _tables_and_indexes(url)
    command.downgrade(_config(url), "base")
    engine = engine_of(url)
    with engine.connect().execution_options(writes=True) as connection, connection.begin():
        metadata.create_all(connection)
    engine.dispose()
    assert _tables_and_indexes(url) == migrated


def test_no_table_deletes_rows_along_with_others() -> None:
    keys = [key for table in metadata.tables.values() for key in table.foreign_key_constraints]
    assert len(keys) == 2
    assert all(key.ondelete is None and key.onupdate is None for key in keys)


def test_a_database_can_be_taken_down_and_made_again(url: str) -> None:
    create_or_upgrade(url)
    command.downgrade(_config(url), "base")
    assert _tables_and_indexes(url) == {}
    assert "Made the database" in create_or_upgrade(url)


def test_making_a_database_twice_changes_nothing(url: str) -> None:
    assert "Made the database" in create_or_upgrade(url)
    assert "is up to date" in create_or_upgrade(url)
    open_store(url).close()


def test_the_alembic_command_reads_its_settings_from_the_project_file(url: str) -> None:
    for arguments in (["upgrade", "head"], ["check"]):
        done = subprocess.run(
            [sys.executable, "-m", "alembic", "-x", f"url={url}", *arguments],
            cwd=ROOT,
            env={"PYTHONPATH": str(ROOT), "PYTHONDONTWRITEBYTECODE": "1"},
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, done.stderr
    assert "No new upgrade operations detected" in done.stdout


ORPHAN = """
CREATE TABLE parent (id INTEGER PRIMARY KEY);
CREATE TABLE orphan (parent INTEGER REFERENCES parent (id));
INSERT INTO orphan VALUES (7);
"""


def test_rows_without_parents_stop_a_migration_and_undo_it(file_url: str) -> None:
    """SQLite alone can hold such rows."""
    create_or_upgrade(file_url)
    command.downgrade(_config(file_url), "base")
    _run(file_url, ORPHAN)
    with pytest.raises(StoreError, match="rows without parents"):
        create_or_upgrade(file_url)
    assert set(_tables_and_indexes(file_url)) == {"parent", "orphan"}


LATER = f"""
from alembic import op
import sqlalchemy as sa

revision = "9000"
down_revision = "{REVISION}"


def upgrade():
    with op.batch_alter_table("examination", recreate="always") as batch:
        batch.add_column(sa.Column("room", sa.Text()))
"""


def test_a_migration_that_rebuilds_a_table_keeps_the_rows_that_belong_to_it(
    file_url: str, tmp_path: Path, stamp: Stamp
) -> None:
    """SQLite alone rebuilds a table to change it."""
    create_or_upgrade(file_url)
    store = open_store(file_url)
    written = (parse_acuity("6/18"),)
    with store.transaction() as tx:
        tx.add("M-014", Child("M-014", "Ann Example", date(2026, 1, 1)), stamp)
        findings = (EyeFindings(Eye.LEFT, written), EyeFindings(Eye.RIGHT, written))
        tx.add("M-014", Examination("", date(2026, 3, 2), findings), stamp)
    before = store.case("M-014")
    later = tmp_path / "migrations"
    shutil.copytree(shipped("migrations"), later)
    (later / "versions" / "9000_later.py").write_text(LATER)
    config = _config(file_url)
    config.set_main_option("script_location", str(later))

    command.upgrade(config, "head")

    assert store.case("M-014") == before
    store.close()
    with pytest.raises(StoreError, match=r"newer version of the program \(it is at 9000\)"):
        open_store(file_url)


# As the first version of the program wrote them.
FIRST_ROWS = """
INSERT INTO child VALUES ('M-014', 1, 'M-014', '2026-03-02T09:30:00.000000+00:00', 'a nurse', '',
    false, 'Ann Example', '2026-01-01', NULL, 'en', '');
INSERT INTO surgery VALUES ('M-014/S1', 1, 'M-014', '2026-03-02T09:30:00.000000+00:00', 'a nurse',
    '', false, 'right', '2026-02-20', 'lens removal with implant', 'absorbable', 'congenital');
INSERT INTO examination VALUES ('M-014/X1', 1, 'M-014', '2026-03-02T09:30:00.000000+00:00',
    'a nurse', '', false, '2026-03-02', 'none', true, '[]', 'quiet');
INSERT INTO eye_findings VALUES ('M-014/X1', 1, 0, 'right', 'yes', 'yes', 'unknown', 'yes', 14,
    'unknown', 24, -4, 90, 'clear', 'unknown', 'pseudophakic', 'glasses');
INSERT INTO acuity VALUES ('M-014/X1', 1, 'right', 0, '6/60', 'unknown', NULL, 'glasses');
INSERT INTO regimen VALUES ('M-014/R1', 1, 'M-014', '2026-03-02T09:30:00.000000+00:00', 'a nurse',
    '', false, 'left', 'patch', NULL, 7, '2026-03-02', NULL, 'an orthoptist', 'agreed');
INSERT INTO calendar_entry VALUES ('a@rehab', 'M-014', 0, '2026-03-02', 'occlusion', 'live',
    '2026-03-02', '2026-04-02', '2026-03-02', '[]', 'left', 60, 7);
INSERT INTO calendar_entry VALUES ('b@rehab', 'M-014', 0, '2026-03-02', 'visit', 'live',
    '2026-04-01', '2026-04-08', '2026-04-01', '[]', '', 0, 0);
"""


def test_a_database_of_the_first_version_is_brought_up_to_date_with_its_rows(url: str) -> None:
    command.upgrade(_config(url), "0001")
    _run(url, FIRST_ROWS)
    assert f"up to date, from 0001 to {REVISION}" in create_or_upgrade(url)
    with closing(open_store(url)) as store:
        case = store.case("M-014")
        entries = store.entries("M-014")
        assert (store.proposals("M-014"), store.wear("M-014")) == ((), ())
    assert [entry.method for entry in entries] == ["adhesive patch", ""]
    assert case.regimens == (
        Regimen(
            "M-014/R1",
            Eye.LEFT,
            Method.PATCH,
            None,
            7,
            date(2026, 3, 2),
            "an orthoptist",
            "agreed",
        ),
    )
    (examination,) = case.examinations
    assert (examination.symptoms, examination.sleep_minutes) == (Symptoms(), None)
    assert case.surgeries == (
        Surgery(
            "M-014/S1",
            Eye.RIGHT,
            date(2026, 2, 20),
            Procedure.LENS_REMOVAL_WITH_IMPLANT,
            Sutures.ABSORBABLE,
            Cause.CONGENITAL,
            target_quarters=None,
        ),
    )
    (found,) = case.examinations[0].findings
    assert (found.corneal_diameter_tenths_mm, found.axial_length_hundredths_mm) == (None, None)
    assert found.refraction == Refraction(24, -4, 90)
    assert found.acuities == (parse_acuity("6/60", correction="glasses"),)


def test_a_database_can_go_back_to_the_first_version_with_its_rows(url: str) -> None:
    command.upgrade(_config(url), "0001")
    before = _tables_and_indexes(url)
    _run(url, FIRST_ROWS)
    command.upgrade(_config(url), "head")
    command.downgrade(_config(url), "0001")
    assert _tables_and_indexes(url) == before
    engine = engine_of(url)
    with engine.connect() as connection:
        assert connection.scalars(text("SELECT written FROM acuity")).all() == ["6/60"]
        assert connection.scalars(text("SELECT method FROM regimen")).all() == ["patch"]
    engine.dispose()


# As version 0004 of the tables held them.
FOURTH_ROWS = """
INSERT INTO child VALUES ('M-014', 1, 'M-014', '2026-03-02T09:30:00.000000+00:00', 'a nurse', '',
    false, 'Ann Example', '2026-01-01', NULL, 'sw', '', 'example');
INSERT INTO contact VALUES ('M-014/C1', 1, '2026-03-02T09:30:00.000000+00:00', 'a nurse', '',
    false, 'M-014', 'Eve Example', 'mother', '', '', '', 'yes', 'unknown');
INSERT INTO revision VALUES ('M-014', 2);
"""


def test_what_letters_need_is_added_to_records_of_before_and_can_be_taken_off(
    url: str, stamp: Stamp
) -> None:
    command.upgrade(_config(url), "0004")
    before = _tables_and_indexes(url)
    _run(url, FOURTH_ROWS)
    assert "up to date, from 0004 to" in create_or_upgrade(url)
    with closing(open_store(url)) as store:
        case = store.case("M-014")
        assert (case.prescriptions, case.sharing) == ((), None)
        assert (store.letters_made(), store.translation_reviews()) == ((), ())
        drops = Prescription("", date(2026, 3, 2), date(2026, 3, 9), "Drops:\nas told", "Dr H")
        agreed = Sharing("", date(2026, 3, 2), (SchoolTopic.SIGHT,), "Eve Example")
        with store.transaction() as tx:
            assert tx.add("M-014", drops, stamp) == "M-014/D1"
            assert tx.add("M-014", agreed, stamp) == "M-014/G1"
            assert tx.revisions(["M-014"]) == {"M-014": 4}
        case = store.case("M-014")
        assert case.prescriptions == (replace(drops, id="M-014/D1"),)
        assert case.sharing == replace(agreed, id="M-014/G1")
    command.downgrade(_config(url), "0004")
    assert _tables_and_indexes(url) == before
    engine = engine_of(url)
    with engine.connect() as connection:
        assert connection.scalars(text("SELECT name FROM contact")).all() == ["Eve Example"]
    engine.dispose()


def test_a_folder_of_the_program_that_is_missing_is_named() -> None:
    with pytest.raises(Exception, match="_no_such_folder: this folder of the program is missing"):
        shipped("no_such_folder")


def test_an_installed_package_finds_the_migrations_inside_itself(tmp_path: Path) -> None:
    site = tmp_path / "site"
    shutil.copytree(ROOT / "rehab", site / "rehab", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copytree(ROOT / "migrations", site / "rehab" / "_migrations")
    make = "from rehab.store.store import *; print(create_or_upgrade('sqlite:///made.db'))"
    done = subprocess.run(
        [sys.executable, "-c", make],
        cwd=tmp_path,
        env={"PYTHONPATH": str(site)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.stdout, done.stderr) == ("Made the database made.db.\n", "")
