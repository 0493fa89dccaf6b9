"""Random courses of occlusion, many more than the tests follow: `python -m
tests.benchmarks.courses`. Every law must hold after each decision, whatever chance chose."""

import argparse
import tempfile
from contextlib import closing
from pathlib import Path
from random import Random

from rehab.settings import Clinic, Settings
from rehab.store.store import create_or_upgrade, open_store
from rehab.workflow import Desk
from tests import test_occlusion_desk as at_the_desk
from tests.care import test_response_laws as proposing


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--proposing", type=int, default=10_000, help="courses without a database")
    parser.add_argument("--desk", type=int, default=40, help="courses at the desk")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    ended, proposals = proposing.courses(given.proposing, Random(given.seed))
    print(f"{given.proposing} courses: {len(proposals)} kinds of proposal, {len(ended)} of end")
    with tempfile.TemporaryDirectory() as folder:
        clinic = Clinic("Courses", open_weekdays=at_the_desk.SEVEN_DAYS, horizon_months=6)
        settings = Settings(Path(folder), clinic)
        create_or_upgrade(settings.database_url)
        with closing(open_store(settings.database_url)) as store:
            desk = Desk(settings, at_the_desk.PROTOCOL, store)
            done = at_the_desk.courses(desk, given.desk, Random(given.seed))
    print(f"{given.desk} courses at the desk: {', '.join(sorted(done))}")


if __name__ == "__main__":
    main()
