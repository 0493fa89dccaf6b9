"""The clinic's diary as a coordinator keeps it."""

import json
import re
import shutil
from datetime import date
from pathlib import Path

import pytest

from tests.conftest import Clinic

SITE = 'diary site add north --name "North Clinic" --country KE --time-zone Africa/Nairobi'
MONDAYS = (
    "diary session add mondays --site north --weekday Monday --starts 09:00 --ends 13:00 "
    '--capacity-minutes 240 --staff "A. Orthoptist"'
)
HELD = "--site north --starts 09:00 --ends 13:00 --capacity-minutes 240"


@pytest.fixture(scope="module")
def kept(asel_home: Path, tmp_path_factory: pytest.TempPathFactory) -> Clinic:
    """K-017's clinic with sessions on Mondays at one site; only what is refused may touch it."""
    clinic = Clinic(shutil.copytree(asel_home, tmp_path_factory.mktemp("north") / "clinic"))
    clinic.say(SITE)
    clinic.say(MONDAYS)
    return clinic


@pytest.fixture
def north(kept: Clinic, tmp_path: Path) -> Clinic:
    return Clinic(shutil.copytree(kept.home, tmp_path / "clinic"))


def test_an_empty_diary_says_how_to_begin(clinic: Clinic) -> None:
    assert "Begin with a site (rehab diary site add)" in clinic.say("diary list")
    shown = clinic.say("diary show")
    assert shown.startswith("The diary has no session from 2026-04-20 to 2026-05-03.")
    assert "Begin with a site" in shown


def test_sessions_are_shown_with_the_room_that_is_left(north: Clinic) -> None:
    north.say("appointment book K-017 2026-05-04")
    head, *rows = north.say("diary show --until 2026-05-04").splitlines()[:4]
    assert head.split() == ["DAY", "TIME", "SESSION", "SITE", "STAFF", "CHILDREN", "ROOM", "LEFT"]
    assert [row[:15].strip() for row in rows] == [
        "Mon 20 Apr 2026",
        "Mon 27 Apr 2026",
        "Mon 4 May 2026",
    ]
    assert "A. Orthoptist  -         240 of 240 min" in rows[0]
    (line,) = json.loads(north.say("diary show --from 2026-05-04 --until 2026-05-04 --json"))
    assert (line["starts_at"], line["children"]) == ("2026-05-04T06:00:00+00:00", 1)
    assert line["minutes_used"] > 0
    assert line["minutes_left"] == 240 - line["minutes_used"]
    assert f"1         {line['minutes_left']} of 240 min" in rows[2]


def test_a_closure_on_a_booked_day_lists_the_child_and_puts_it_on_the_recall_list(
    north: Clinic,
) -> None:
    north.say("appointment book K-017 2026-05-04")
    assert "clinic shut" not in north.say("recall list")
    closed = north.say('diary close --from 2026-05-01 --until 2026-05-04 --why "roof repair"')
    assert closed.splitlines() == [
        "Recorded closure/2026-05-01: the whole clinic closed Fri 1 May 2026 to Mon 4 May 2026 "
        "(roof repair).",
        "1 booked child cannot be seen as booked and comes on the recall list:",
        "  K-017  Asel T  Mon 4 May 2026 09:00  roof repair",
    ]
    assert "clinic shut on the booked day 2026-05-04: roof repair" in north.say("recall list")
    shown = north.say("diary show --until 2026-05-04")
    assert "NOT HELD: roof repair" in shown
    assert "Children are booked in sessions that are not held" in shown
    opened = north.say('diary open-again 2026-05-01 --why "put off"').splitlines()
    assert opened[1:] == [
        "These can be seen as booked again, and come on the recall list until they are told:",
        "  K-017  Asel T  Mon 4 May 2026 09:00",
    ]
    assert "clinic shut" not in north.say("recall list")
    listed = " ".join(north.say("recall list").split())
    assert re.search(r"- appointment 2026-05-04 at 09:00[^-]* not yet told to the", listed)
    assert "NOT HELD" not in north.say("diary show --until 2026-05-04")


def test_a_clinic_without_sessions_can_be_closed_too(asel: Clinic) -> None:
    asel.say("appointment book K-017 2026-05-04")
    closed = asel.say('diary close --from 2026-05-04 --why "strike"')
    assert "  K-017  Asel T  Mon 4 May 2026  strike" in closed
    for options in ("", " --by 2026-07-01"):
        assert "clinic shut on the booked day 2026-05-04: strike" in asel.say(
            f"recall list{options}"
        )
    visits = json.loads(asel.say("plan show K-017 --json"))["visits"]
    assert [visit["date"] for visit in visits if not visit["booked"]].count("2026-05-04") == 0


def test_a_session_on_a_day_that_the_clinic_file_does_not_open_is_not_minded(north: Clinic) -> None:
    north.say(f"diary extra 2026-05-09 {HELD}")
    assert "Mind" not in north.say("appointment book K-017 2026-05-09")


def test_a_closure_of_one_day_of_one_session_says_that_nobody_is_booked(north: Clinic) -> None:
    said = north.say('diary close --from 2026-05-11 --session mondays --why "leave"')
    assert said.splitlines() == [
        "Recorded closure/2026-05-11: mondays closed Mon 11 May 2026 (leave).",
        "Nobody is booked then.",
    ]
    again = north.say('diary close --from 2026-05-11 --why "strike"')
    assert again.startswith("Recorded closure/2026-05-11-2: the whole clinic closed")


@pytest.mark.parametrize(
    ("line", "says"),
    [
        (
            "diary close --from 2026-05-11 --until 2026-05-10 --why x",
            "2026-05-10 is before the first",
        ),
        ("diary close --from 2026-05-11 --until 2062-05-10 --why x", "more than two years"),
        ("diary close --from 2026-05-11 --why ' '", "a closure needs a reason"),
        ("diary close --from 2026-05-11 --site south --why x", "no site 'south'. Known: north."),
        ("diary close --from 2026-05-11 --session monday --why x", "Known: mondays."),
        ("diary open-again 2026-05-11 --why x", "nothing is recorded as @closure/2026-05-11"),
        ("diary remove sites/north --why x", "is no record of the diary. Give such as site/north"),
        ("diary remove site/north --why x", "sessions are held at this site: mondays"),
        ("diary history session/none", "nothing is recorded as @session/none"),
        ("diary show --from 2026-05-11 --until 2026-05-10", "are not 1 to 800 days"),
        ("diary show --site south", "the diary has no site 'south'. Known: north."),
        (f"{MONDAYS} --last 2026-04-01", "the last day 2026-04-01 is before the first"),
        (MONDAYS, "session/mondays: this is in the diary already. Give the other one another code"),
        ("diary session change fridays --why x --last 2026-06-01", "no session 'fridays'"),
        ("diary session change mondays --why x --ends 13:00", "mondays: nothing would change"),
        ("diary session change mondays --why x --seen 2 --ends 12:00", "you saw version 2"),
        (f"diary session add a/b {HELD} --weekday Monday", "'a/b' cannot be the code of a session"),
        (f"diary session add a {HELD} --rule FREQ=HOURLY", "FREQ must be one of"),
        (
            f"diary session add a {HELD} --rule 'FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=30'",
            "makes no session in the ten years from 2026-04-20",
        ),
        (
            f"diary session add a {HELD} --rule 'FREQ=MONTHLY;BYDAY=1TU'",
            "gives no session on the first day, 2026-04-20. Counted from there, the first session "
            "would be on Tuesday 2026-05-05",
        ),
        (
            f"diary session add a {HELD} --weekday Monday --kind examination_under_anaesthesia",
            "each list under anaesthesia offers that examination, and no other session does",
        ),
        ('diary site add west --name " "', "west: a site needs a name"),
        ("diary site add west --name W --time-zone Mars", "the time zone 'Mars' is not known"),
        ("diary site add west --name W --country Kenia", "Did you mean KE (kenya)"),
        ("diary site add west --name W --region MH", "a region belongs to a country"),
        ("diary site add north --name W", "site/north: this is in the diary already"),
        ("diary site change north --region XX --why x", "no region 'XX' is known in KE"),
        ("diary holidays remove 2026-06-01 --why x", "no public holiday is recorded on 2026-06-01"),
        ("diary holidays copy --country KE --years 2026-2070", "are not 1 to 30 years"),
        ("diary holidays copy --site south --years 2026", "no site 'south'"),
    ],
)
def test_what_cannot_be_is_refused_in_plain_words(kept: Clinic, line: str, says: str) -> None:
    assert says in kept.refuse(line)


@pytest.mark.parametrize(
    ("starts", "ends", "capacity", "says"),
    [
        ("09:00", "13:00", 0, "holds no child. Give the minutes in which children can be seen: "),
        ("09:00", "13:00", -30, "a session with -30 minutes of capacity holds no child"),
        ("09:00", "13:00", 24000, "would need more than 20 people at once"),
        ("13:00", "09:00", 60, "a session cannot end at 09:00 when it starts at 13:00"),
    ],
)
def test_a_session_in_which_nobody_can_be_seen_is_refused(
    kept: Clinic, starts: str, ends: str, capacity: int, says: str
) -> None:
    hours = f"--starts {starts} --ends {ends} --capacity-minutes={capacity}"
    assert says in kept.refuse(f"diary session add a --site north --weekday Friday {hours}")
    assert says in kept.refuse(f"diary session change mondays {hours} --why tried")
    assert says in kept.refuse(f"diary extra 2026-05-09 --site north {hours}")


@pytest.mark.parametrize(
    ("line", "says"),
    [
        (f"diary session add a {HELD}", "Name the days with --weekday or --rule"),
        (f"diary session add a {HELD} --weekday Monday --rule FREQ=DAILY", "not both"),
        (f"diary session add a {HELD} --weekday T", "'T' is not one of: Monday, Tuesday"),
        ("diary session add a --site north --weekday Monday", "Give --starts, --ends, --cap"),
        ("diary session change mondays --last 2026-09-01 --no-last --why x", "--last or --no-last"),
        ("diary holidays copy --years 2026", "Give --country, or --site alone"),
        ("diary holidays copy --country KE --years 26", "'26' is not years; write such as 2027"),
        ("diary holidays copy --country KE --years 2028-2026", "is not years"),
    ],
)
def test_a_command_that_says_too_little_or_too_much_is_a_misuse(
    kept: Clinic, line: str, says: str
) -> None:
    assert says in kept.misuse(line)


def test_a_weekday_pattern_begins_on_the_first_such_day(north: Clinic) -> None:
    said = north.say(f"diary session add two {HELD} --weekday thu --weekday Tuesday")
    assert "every Tuesday and Thursday from Tue 21 Apr 2026, 09:00 to 13:00 at north" in said


def test_plans_follow_the_sessions(north: Clinic) -> None:
    visits = json.loads(north.say("plan show K-017 --json"))["visits"]
    assert visits
    for visit in visits:
        assert date.fromisoformat(visit["date"]).weekday() == 0


def test_an_examination_under_anaesthesia_is_planned_on_a_list(north: Clinic) -> None:
    said = north.say(
        "diary session add theatre --site north --rule 'FREQ=MONTHLY;BYDAY=1TH' "
        "--first 2026-05-07 --starts 08:00 --ends 11:00 --capacity-minutes 120 --under-anaesthesia"
    )
    assert "by FREQ=MONTHLY;BYDAY=1TH from Thu 7 May 2026" in said
    assert "list under anaesthesia" in said
    assert "list under anaesthesia" in north.say("diary show --from 2026-05-07 --until 2026-05-07")
    plan = json.loads(north.say("plan show K-017 --json"))
    asleep = {c["key"] for c in plan["checks"] if c["kind"] == "examination_under_anaesthesia"}
    (visit,) = (v for v in plan["visits"] if asleep & set(v["checks"]))
    lists = json.loads(north.say("diary show --until 2027-12-31 --json"))
    assert visit["date"] in {s["on"] for s in lists if s["under_anaesthesia"]}


def test_a_session_for_few_kinds_of_check_says_which(north: Clinic) -> None:
    said = north.say(f"diary extra 2026-05-09 {HELD} --kind refraction --kind glasses_review")
    assert "only refraction, glasses review" in said
    assert "only refraction, glasses review" in north.say("diary list")
    shown = north.say("diary show --from 2026-05-09 --until 2026-05-09")
    assert "240 of 240 min  only refraction, glasses review" in shown


def test_less_room_than_is_booked_is_said_and_shown(north: Clinic) -> None:
    north.say("appointment book K-017 2026-05-04")
    said = north.say('diary session change mondays --capacity-minutes 10 --why "one person less"')
    assert "Mind Monday 2026-05-04: " in said
    assert "minutes are booked, and there are 10" in said
    assert "OVERBOOKED" in north.say("diary show --until 2026-05-04")


def test_sessions_that_are_moved_or_removed_list_the_children_booked(north: Clinic) -> None:
    north.say("appointment book K-017 2026-05-04")
    moved = north.say(
        'diary session change mondays --starts 14:00 --ends 17:00 --why "room needed"'
    )
    assert "the session mondays is now from 14:00 to 17:00, the child is booked for 09:00" in moved
    fewer = north.say("diary session change mondays --weekday Tuesday --why moved")
    assert "the session mondays is not held on this day" in fewer
    gone = north.say("diary remove session/mondays --why moved")
    assert "the session mondays is no longer held" in gone
    assert "removed by M. Okoro" in north.refuse(MONDAYS)
    history = north.say("diary history session/mondays").splitlines()
    assert [line.split()[0] for line in history] == ["VERSION", "1", "2", "3", "4"]
    assert "every Tuesday from Tue 21 Apr 2026, 14:00 to 17:00" in history[3]
    assert history[4].split()[-2:] == ["withdrawn", "moved"]


def test_sessions_that_end_before_plans_do_are_told(north: Clinic) -> None:
    north.say("diary session change mondays --last 2026-06-01 --why 'until the summer'")
    assert "The diary has no session after 2026-06-01, and plans look" in north.say("diary show")
    north.say("diary session change mondays --no-last --why 'they go on'")
    assert "no session after" not in north.say("diary show")


def test_a_first_session_that_comes_once_warns_that_the_diary_decides(clinic: Clinic) -> None:
    clinic.say(SITE)
    said = clinic.say(f"diary extra 2026-05-09 {HELD}")
    assert said.startswith("Recorded session/north-2026-05-09: once on Sat 9 May 2026")
    assert "Mind that the diary has no sessions that come again." in said


def test_holidays_are_copied_once_and_what_the_clinic_did_with_them_stays(north: Clinic) -> None:
    first = north.say("diary holidays copy --site north --years 2026-2027")
    assert first.startswith("Copied ")
    assert "No list of the public holidays of KE is recorded for" not in first
    assert "Mon 1 Jun 2026" in north.say("diary holidays list --years 2026")
    assert "NOT HELD: public holiday, Madaraka Day" in north.say("diary show --until 2026-06-01")
    north.say('diary holidays remove 2026-06-01 --why "the clinic works"')
    again = north.say("diary holidays copy --country KE --years 2026-2027")
    assert again.startswith("Copied 0 public holidays of KE; ")
    assert "Mon 1 Jun 2026" not in north.say("diary holidays list --years 2026")
    back = north.say("diary holidays add 2026-06-01 --name 'Madaraka Day' --country Kenya")
    assert back.startswith("Recorded holiday/KE/2026-06-01: Mon 1 Jun 2026, Madaraka Day (KE).")
    assert "already" in north.refuse("diary holidays add 2026-06-01 --name M --country KE")


def test_a_list_of_holidays_that_runs_out_is_told_wherever_it_is_looked_at(north: Clinic) -> None:
    told = "No list of the public holidays of KE is recorded for 2027, and plans look ahead to"
    assert told in north.say("diary holidays copy --country KE --years 2026")
    assert told in north.say("diary holidays list")
    assert told in north.say("diary show")
    assert told in north.say("plan refresh --all")
    assert "--country KE --years 2027" in north.say("diary show")


def test_a_copied_holiday_on_a_booked_day_lists_the_child(north: Clinic) -> None:
    north.say("appointment book K-017 2026-06-01")
    said = north.say("diary holidays copy --country KE --years 2026-2027")
    assert "  K-017  Asel T  Mon 1 Jun 2026 09:00  public holiday, Madaraka Day" in said
    shut = "clinic shut on the booked day 2026-06-01: public holiday, Madaraka Day"
    assert shut in north.say("recall list")


def test_a_child_booked_in_no_session_is_shown_beside_the_table(north: Clinic) -> None:
    north.say("appointment book K-017 2026-05-05 --overbook")
    assert "Booked in no session: K-017 (2026-05-05)." in north.say("diary show --until 2026-05-05")


def test_a_site_is_changed_by_what_is_said_only(north: Clinic) -> None:
    said = north.say('diary site change north --address "4 Pier Road" --why moved')
    assert said == "Changed site/north: North Clinic, 4 Pier Road, Africa/Nairobi, KE.\n"
    shown = json.loads(north.say("diary history site/north --json"))
    assert [version["why"] for version in shown] == ["", "moved"]


def test_the_plan_of_a_clinic_without_sessions_is_as_before(asel: Clinic) -> None:
    before = asel.say("plan show K-017 --json")
    asel.say(SITE)
    assert asel.say("plan show K-017 --json") == before


def test_children_booked_for_what_a_session_no_longer_offers_are_named(north: Clinic) -> None:
    north.say("appointment book K-017 2026-05-04")
    change = "diary session change mondays --why 'theatre is needed'"
    all_day = north.say(f"{change} --ends 14:00 --capacity-minutes 300")
    assert "please move them" not in all_day
    for offer in ("--kind glasses_review", "--under-anaesthesia"):
        *_, said, child = north.say(f"{change} {offer}").splitlines()
        assert said == "Booked there for what the sessions do not offer; please move them:"
        assert child.split("  ")[1:4] == ["K-017", "Asel T", "Mon 4 May 2026 09:00"]
        assert child.endswith("contact lens review")
