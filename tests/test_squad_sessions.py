"""Runners side by side, and one session for many."""

import datetime as dt
import shutil

import icalendar
import numpy as np
import pytest

from footwork import Library, Squad
from footwork.errors import HeldBack, UsageError
from footwork.quantities import Estimate
from footwork.questions.squad import side_by_side
from footwork.questions.squad.side_by_side import BETWEEN_DEVICES
from footwork.reports import group_sheet
from footwork.results.squad import Figures
from footwork.squad import calendar_of
from tests.program import of_json, ok

DAY = dt.timedelta(days=1)
HARD = "10 min easy, 4 x (4 min at 106 % CP, 2 min easy jog)"
TOO_LONG = "4 x (12 min at 106 % CP, 2 min easy jog)"
MONSTER = "10 x (20 min at 125 % CP, 10 s easy jog)"


def estimate(value, low, high, unit):
    return Estimate(value, low, high, unit, 5, "test")


def figures(name, kind, cp, mass=60.0):
    power = estimate(cp, cp - 10.0, cp + 10.0, "W")
    per = power.scaled(1.0 / mass, "W/kg")
    return Figures(
        athlete=name,
        asked_on="2026-04-19",
        scale=f"{kind} A",
        kind=kind,
        mass_kg=mass,
        estimates={"critical_power": power, "per_kilogram": per},
    )


def test_watts_of_unlike_devices_are_refused_with_the_reason():
    rows = {r.key: r for r in side_by_side([figures("a", "foot sensor", 300.0), figures("b", "device", 340.0)]).rows}
    for key in ("critical_power", "per_kilogram"):
        assert rows[key].estimates == [] and rows[key].refused == (
            "watts of unlike devices are not one unit (device, foot sensor)"
        )
    rows = {r.key: r for r in side_by_side([figures("a", "device", 300.0), figures("b", "device", 340.0)]).rows}
    assert "how alike two of a kind are (device)" in rows["critical_power"].refused
    assert rows["critical_speed"].refused == "" and rows["critical_speed"].estimates[0].value is None


def test_watts_of_one_kind_hold_what_its_devices_differ_by():
    found = side_by_side([figures("a", "foot sensor", 300.0), figures("b", "foot sensor", 240.0, mass=50.0)])
    rows = {r.key: r for r in found.rows}
    one, two = rows["critical_power"].estimates
    assert (one.value, two.value) == (300.0, 240.0) and rows["critical_power"].refused == ""
    half = np.hypot(10.0, 1.96 * BETWEEN_DEVICES["foot sensor"] * 300.0)
    assert one.high - 300.0 == pytest.approx(half) and 300.0 - one.low == pytest.approx(half)
    assert rows["per_kilogram"].estimates[1].value == pytest.approx(4.8)


def test_figures_are_the_runners_own(club, library, today):
    found = Squad.open(club).side_by_side(["anna", "ben"], today)
    rows = {r.key: r for r in found.rows}
    made = library.capacity(date=today)
    easy = next(g for g in library.usual(today).groups if g["name"] == "easy")["power"]["value"]
    assert rows["easy"].estimates[0].value == pytest.approx(100.0 * easy / made.critical_power.value)
    assert rows["easy"].estimates[0].low < rows["easy"].estimates[0].value < rows["easy"].estimates[0].high
    assert rows["tail"].estimates[0].value == pytest.approx(100.0 * np.log(2.0) * made.tail.value)
    assert rows["w_prime"].estimates[0].value == pytest.approx(made.w_prime.value / made.critical_power.value)
    mass = library.athlete.value("mass", today)
    assert rows["per_kilogram"].estimates[0].value == pytest.approx(made.critical_power.value / mass)
    assert rows["seven_days"].estimates[0].value == pytest.approx(library.load(today - 6 * DAY, today).load.value)
    assert found.kinds == ["foot sensor", "foot sensor"]
    with pytest.raises(UsageError, match="at least two"):
        Squad.open(club).side_by_side(["anna", "anna"], today)


def test_each_is_asked_in_their_own_watts_and_who_cannot_finish_it_gets_a_kinder_one(club, library, today):
    with Library.open(club / "ben") as ben:
        ben.accept(250.0, today)
    anna, ben, _ = Squad.open(club).prescribe([HARD], today=today)
    cp = library.capacity(date=today).critical_power.value
    assert (anna.state, ben.state) == ("asked", "asked") and anna.text.startswith("10 min easy, 4 x (4 min at 106 % CP")
    assert anna.power.value == pytest.approx(1.06 * cp) and ben.power.value == pytest.approx(265.0)
    step = next(s for s in ben.steps if "106" in s["text"])
    assert step["low_w"] < 265.0 < step["high_w"]
    preview = library.session(HARD)
    assert anna.finishes == pytest.approx(1.0 - preview.run_dry_probability)
    long = Squad.open(club).prescribe([TOO_LONG], ["anna"], today=today)[0]
    assert long.state == "kinder" and long.text == library.session(TOO_LONG).kinder["text"]
    assert long.finishes < 0.8 <= long.finishes_kinder and "times in a hundred" in long.why
    much = Squad.open(club).prescribe([MONSTER], ["anna"], today=today)[0]
    assert much.state == "too much" and "no kinder version is" in much.why


@pytest.mark.parametrize("told", [{"illness": "cold"}, {"injury": "calf"}])
def test_who_is_ill_is_asked_nothing_and_who_returns_nothing_hard(club, today, told):
    with Library.open(club / "ben") as ben:
        ben.tell(date=today - DAY, **told)
    found = {
        r.athlete: r
        for r in Squad.open(club).prescribe([HARD, "30 min easy"], date=today + DAY, keep=True, today=today)[2:4]
    }
    assert found["ben"].state == "not now" and found["ben"].why == "Not now." and not found["ben"].kept
    with Library.open(club / "ben") as ben:
        assert ben.sessions() == []
        ben.tell(date=today, well="again")
    hard, easy = Squad.open(club).prescribe([HARD, "30 min easy"], ["ben"], today + DAY, today=today)
    assert (hard.state, easy.state) == ("not now", "asked")
    later = Squad.open(club).prescribe([HARD], ["ben"], today + 20 * DAY, today=today)[0]
    assert later.state == "asked"


def test_who_is_told_by_a_physician_or_comes_back_from_weeks_off_gets_nothing_hard(club, today):
    with Library.open(club / "ben") as ben:
        ben.tell(date=today, pregnancy="begins")
    hard, easy = Squad.open(club).prescribe([HARD, "30 min easy"], ["ben"], today=today)
    assert (hard.state, hard.why, easy.state) == ("not now", "Not now.", "asked")
    from footwork.questions.squad import prescribed

    with Library.open(club / "anna") as anna:
        back = prescribed(anna, "anna", HARD, today + 16 * DAY, today + 16 * DAY)
        assert back.state == "not now" and "after 16 days without running" in back.why
        assert prescribed(anna, "anna", "30 min easy", today + 16 * DAY, today + 16 * DAY).state == "asked"


@pytest.mark.parametrize(
    "short", ["15 min easy, 3 min all out, 10 min easy", "20 min easy, 3 x (1 min at 125 % CP, 2 min easy)"]
)
def test_a_few_hard_minutes_are_hard_too(club, today, short):
    with Library.open(club / "ben") as ben:
        ben.tell(date=today - DAY, illness="cold")
        ben.tell(date=today, well="again")
    assert Squad.open(club).prescribe([short], ["ben"], today + DAY, today=today)[0].state == "not now"
    assert Squad.open(club).prescribe([short], ["anna"], today + DAY, today=today)[0].state == "asked"


def test_what_is_too_much_goes_nowhere_and_a_return_has_its_easy_workout(club, today):
    with Library.open(club / "ben") as ben:
        ben.tell(date=today - DAY, illness="cold")
        ben.tell(date=dt.date.today(), well="again")  # a return as of the day the test runs, too
    squad = Squad.open(club)
    asked = squad.prescribe([MONSTER, "30 min easy"], ["anna"], today + DAY, today=today)
    assert [n for n, _ in squad.workouts(asked)] == [f"anna-{today + DAY}.fit"]
    assert calendar_of(asked).count(b"BEGIN:VEVENT") == 1
    turned = squad.prescribe(["30 min easy", MONSTER], ["anna"], today + DAY, today=today)
    uid = [line for line in calendar_of(asked).splitlines() if line.startswith(b"UID")]
    assert uid == [line for line in calendar_of(turned).splitlines() if line.startswith(b"UID")]
    easy = squad.prescribe(["30 min easy"], ["ben"], dt.date.today())
    if easy[0].state == "asked":
        assert len(squad.workouts(easy)) == 1


def test_every_runner_has_an_address_of_their_own(tmp_path, library):
    for name in ("Doe, Jane", "doe jane", "squad", "Ärmel"):
        shutil.copytree(library.folder, tmp_path / "odd" / name)
    found = Squad.open(tmp_path / "odd").addresses
    assert found == {"doe jane": "doe-jane-2", "Doe, Jane": "doe-jane", "squad": "squad-2", "Ärmel": "rmel"}


def test_what_is_kept_is_what_each_can_finish_once_a_day(club, today):
    made = Squad.open(club)
    kept = made.prescribe([TOO_LONG], ["anna", "ben"], today + DAY, keep=True, today=today)
    assert all(r.kept for r in kept)
    with Library.open(club / "anna") as anna:
        assert [(s["date"], s["text"]) for s in anna.sessions()] == [((today + DAY).isoformat(), kept[0].text)]
    again = made.prescribe([HARD], ["anna"], today + DAY, keep=True, today=today)[0]
    assert not again.kept and again.already == [kept[0].text]
    assert made.prescribe([MONSTER], ["cleo"], today + DAY, keep=True, today=today)[0].kept is False
    with pytest.raises(UsageError, match="is gone by"):
        made.prescribe([HARD], ["anna"], today - DAY, keep=True, today=today)
    with pytest.raises(UsageError, match="no runner is called"):
        made.prescribe([HARD], ["dora"], today=today)


def test_a_block_has_its_days_and_goes_to_watch_calendar_and_paper(club, today, tmp_path):
    monday = today + (7 - today.weekday()) * DAY
    made = Squad.open(club)
    asked = made.prescribe([f"tue {HARD}", f"{monday + 3 * DAY} 40 min easy"], ["anna", "ben"], monday, today=today)
    assert [(r.athlete, r.date) for r in asked] == [
        (n, (monday + k * DAY).isoformat()) for n in ("anna", "ben") for k in (1, 3)
    ]
    files = made.workouts(asked)
    assert len({n for n, _ in files}) == 4 and all(data[8:12] == b".FIT" for _, data in files)
    events = list(icalendar.Calendar.from_ical(calendar_of(asked)).walk("VEVENT"))
    assert len(events) == 4 and len({str(e["UID"]) for e in events}) == 4
    assert str(events[0]["SUMMARY"]).startswith("anna: 10 min easy")
    assert group_sheet(asked).startswith(b"%PDF")


def test_commands_prescribe_and_compare(club, tmp_path):
    said = ok("squad", "side", club, "anna", "ben").stdout
    assert "critical power by mass" in said and "foot sensor" in said
    found = of_json("squad", "prescribe", club, "30 min easy", "--to", "cleo", "--pdf", tmp_path / "g.pdf")
    assert [r["athlete"] for r in found] == ["cleo"] and (tmp_path / "g.pdf").exists()
    ok("squad", "group", club, "one", "anna")
    told = ok("squad", "prescribe", club, "30 min easy", "--group", "one", "--ics", tmp_path / "g.ics").stdout
    assert told.startswith("anna, ") and "ben" not in told


def test_a_race_leaves_no_room_and_a_long_session_names_the_longest_run(club, today):
    day = today + (6 - today.weekday()) * DAY
    with Library.open(club / "anna") as anna:
        anna.new_season(day, race=(day + 30 * DAY).isoformat(), distance="10km", name="Harbour 10 km")
        anna.accept_season(day)
    squad = Squad.open(club)

    def asked(days, text):
        return squad.prescribe([text], ["anna"], day + days * DAY, today=today)[0]

    assert asked(30, "30 min easy").why == "it is the day of the Harbour 10 km"
    assert asked(29, HARD).why == "the Harbour 10 km is 1 day later" and asked(29, "30 min easy").state == "asked"
    assert asked(27, HARD).state == "asked"
    longest = max(r.duration_s for r in Library.open(club / "anna").runs() if (today - r.local.date()).days <= 30)
    minutes = round(1.2 * longest / 60)
    assert "longer than the longest run of 30 days" in asked(20, f"{minutes} min easy").why
    assert asked(20, f"{round(longest / 60)} min easy").why == ""


def test_words_may_name_a_day_to_come_and_a_session_of_the_shelf(club, today):
    squad = Squad.open(club)
    tuesday = squad.prescribe(["tue 30 min easy"], ["anna"], today=today)[0].date
    assert today < dt.date.fromisoformat(tuesday) <= today + 7 * DAY and dt.date.fromisoformat(tuesday).weekday() == 1
    named = squad.prescribe(["four minutes"], ["anna"], today=today)[0]
    assert "5 x (4 min at 105 % CP" in named.asked_text


def test_one_library_that_cannot_be_read_does_not_stop_the_others(club, today):
    (club / "ben" / "library.sqlite").write_bytes(b"")
    found = Squad.open(club).prescribe(["30 min easy"], today=today)
    assert [(r.athlete, r.state) for r in found] == [("anna", "asked"), ("ben", "cannot be asked"), ("cleo", "asked")]
    assert "is empty" in next(a.problem for a in Squad.open(club).lines(today).athletes if a.athlete == "ben")


def test_a_coach_keeps_nothing_hard_for_who_is_held_back_by_any_way(club):
    with Library.open(club / "ben") as ben:
        ben.for_coach = True
        ben.plan_session("30 min easy", dt.date.today() + DAY)
        ben.tell(illness="cold")
        for text in ("30 min easy", HARD):
            with pytest.raises(HeldBack, match="Not now"):
                ben.plan_session(text, dt.date.today() + DAY)
        ben.tell(well="again")
        with pytest.raises(HeldBack, match="Not now"):
            ben.plan_session(HARD, dt.date.today() + DAY)
        ben.for_coach = False
        ben.plan_session(HARD, dt.date.today() + 30 * DAY)  # what runners keep for themselves is theirs
