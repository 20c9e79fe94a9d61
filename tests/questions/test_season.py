"""A season in the library: proposed, accepted, held against what was run, and solved again."""

import datetime as dt
import re
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import yaml

from footwork import Library
from footwork.demo.write import course_text
from footwork.errors import HeldBack, NotEnoughData, UsageError
from footwork.physiology import critical
from footwork.planning import shelf
from footwork.planning.families import Offer
from footwork.planning.season_days import SeasonWeek, Wishes
from footwork.planning.week_days import Kept, Laid
from footwork.questions import season
from footwork.questions.season import before_plan, changes, doubts
from tests.conftest import fit_of, simulate

DAY = dt.timedelta(days=1)


@pytest.fixture
def today(library):
    """The Sunday of the newest run's week: what is planned begins on a Monday."""
    newest = library.runs()[0].local.date()
    return newest + (6 - newest.weekday()) * DAY


def wished(today, **more):
    return {"race": (today + 70 * DAY).isoformat(), "distance": "10km", **more}


def sessions_of(plan):
    return {s.date: s for w in plan.weeks for s in w.sessions if s.purpose != "the race"}


def test_after_months_off_the_longest_run_comes_back_with_the_weeks_by_its_share_of_the_month_before(library):
    rows = library.runs()
    last = rows[0].local.date()
    month = max(r.duration_s for r in rows if (last - r.local.date()).days < 30)
    begins = last + 95 * DAY
    begins -= begins.weekday() * DAY
    made = library.new_season(begins, **wished(begins))
    assert made.usual["longest_s"] == pytest.approx(month, abs=4)
    back = [w.longest_s for w in made.weeks if w.phase == "return"]
    steps = [0.4, 0.55, 0.7, 0.8, 0.95]
    # Of what stands in the month before: offers are of whole minutes, the least of half an hour.
    assert len(back) == 5 and all(a <= max(s * month, 1800) + 61 for a, s in zip(back, steps, strict=True))
    assert back[-1] > 0.5 * month  # not the least there is


def test_a_season_is_proposed_accepted_and_taken_back_whole(library, today):
    made = library.new_season(today, **wished(today, days="tue,thu,sat,sun", long="sun"))
    assert made.state == "proposed" and library.sessions() == []
    assert made.weeks[-1].phase == "race week" and len(made.weeks) == 10
    assert (
        made.race.distance_m == 10_000
        and 25 * 60 < made.race.time.low < made.race.time.value < made.race.time.high < 70 * 60
    )
    again = library.season(today)
    assert again.to_json() == made.to_json()  # the same question, the same plan
    taken = library.accept_season(today)
    assert taken.state == "accepted"
    kept = library.sessions()
    assert {str(s["date"]): s["text"] for s in kept} == {d: s.text for d, s in sessions_of(made).items()}
    assert [w.asked for w in taken.weeks] == pytest.approx([w.asked for w in made.weeks])
    with pytest.raises(UsageError, match="accepted already"):
        library.accept_season(today)
    library.undo(made.number)
    assert library.sessions() == []
    with pytest.raises(UsageError, match="no season yet"):
        library.season(today)


def test_the_week_of_the_race_has_no_long_run(library, today):
    made = library.new_season(today, **wished(today))
    purposes = [[s.purpose for s in w.sessions] for w in made.weeks]
    assert "long" in purposes[-2] and "long" not in purposes[-1] and len(purposes[-1]) >= 2


def test_undoing_the_acceptance_leaves_the_proposal(library, today):
    made = library.new_season(today, **wished(today))
    library.accept_season(today)
    accepted = next(e for e in library.edits() if e["kind"] == "season-weeks")
    library.undo(accepted["id"])
    assert library.sessions() == [] and library.season(today).state == "proposed"
    assert library.season(today).to_json() == made.to_json()


def test_a_plan_solved_again_with_nothing_changed_is_the_same(library, today):
    library.new_season(today, **wished(today))
    library.accept_season(today)
    found = library.season_changes(today)
    assert found.changes == [] and found.sentence == "The plan stands as it is."


def test_the_last_digits_of_a_processor_do_not_choose_the_plan(library, today, monkeypatch):
    made = library.new_season(today, **wished(today))
    draws = critical.Posterior.draws
    for seed in (1, 2, 3):
        noise = 1.0 + 2e-7 * np.random.default_rng(seed).standard_normal()
        monkeypatch.setattr(critical.Posterior, "draws", lambda *a, k=noise: tuple(k * d for d in draws(*a)))
        with Library.open(library.folder) as again:
            found = again.season(today)
        assert sessions_of(found).keys() == sessions_of(made).keys()
        assert [s.text for s in sessions_of(found).values()] == [s.text for s in sessions_of(made).values()]


def test_a_proposal_changes_nothing_of_the_accepted_season(library, today):
    first = library.new_season(today, **wished(today))
    library.accept_season(today)
    other = library.new_season(today, **wished(today, hours="3"))
    assert library.season_changes(today).season == first.number != other.number


def test_a_marathon_on_little_is_called_thin_and_a_longer_race_not_prepared_for(library, today):
    far = {"race": (today + 150 * DAY).isoformat()}
    assert "thin for a marathon" in library.new_season(today, distance="marathon", hours="2", **far).said[0]
    assert "up to the marathon" in library.new_season(today, distance="100km", **far).said[0]
    assert library.new_season(today, distance="10km", **far).said == []


def test_while_ill_no_session_is_asked_and_after_it_easy_days_come_first(library, today):
    library.new_season(today, **wished(today))
    plan = library.accept_season(today)
    ill = today + 2 * DAY
    library.tell(date=min(ill, dt.date.today()), illness="a cold")
    found = library.season_changes(ill)
    dropped = {c.date for c in found.changes if c.kind == "drop"}
    held = {(ill + k * DAY).isoformat() for k in range(4)}
    assert dropped & held == set(sessions_of(plan)) & held
    assert all("illness" in c.sentence for c in found.changes if c.date in held)
    left = library.accept_changes(date=ill)
    assert not {str(s["date"]) for s in library.sessions()} & held
    assert left.changes == []
    assert {r.state for r in library.week(ill).rows if r.date >= ill.isoformat()} <= {"not now"}
    library.tell(date=ill + 3 * DAY, well="yes")
    back = library.season_changes(ill + 3 * DAY)
    library.accept_changes(date=ill + 3 * DAY)
    easy = {(ill + k * DAY).isoformat() for k in range(3, 6)}
    assert all(
        library.session(s["text"])["seconds_in_domains"]["severe"] < 300
        for s in library.sessions()
        if str(s["date"]) in easy
    )
    assert back.season == plan.number


def test_illness_makes_no_day_harder(library, today):
    """What falls away is not caught up in the weeks after it."""
    library.new_season(today, **wished(today))
    library.accept_season(today)
    for length in (1, 5, 9):
        library.tell(date=today + DAY, illness="a cold")
        for change in library.season_changes(today + length * DAY).changes:
            assert change.kind == "drop" and change.date <= str(today + (length + 3) * DAY)


@pytest.mark.parametrize(
    ("new", "gentle", "kinds"),
    [
        (Offer("easy run", "easy", "70 min easy", 30.0, 70.0, 0.0), True, ["drop"]),  # longer: neither of both
        (Offer("easy run", "easy", "40 min easy", 17.0, 40.0, 0.0), True, ["change"]),
        (Offer("easy run", "easy", "70 min easy", 30.0, 70.0, 0.0), False, ["change"]),
        (Offer("threshold", "threshold", "5 x 8 min threshold", 50.0, 49.0, 40.0), True, []),  # no harder either
    ],
)
def test_in_a_return_a_hard_session_goes_even_where_what_is_laid_in_its_place_is_longer(new, gentle, kinds):
    day = dt.date(2026, 11, 29)
    old = Offer("four minutes", "severe", "15 min easy, 4 x (4 min at 105 % CP, 2 min easy jog)", 40.0, 49.0, 16.0)
    row = {"id": 6, "text": old.text, "name": old.name}
    found = changes._apart([(row, Kept(day, old))], [Kept(day, new)], "why", gentle)
    assert [c.kind for c in found] == kinds and all(c.session == 6 for c in found)
    easy = Offer("easy run", "easy", "30 min easy", 12.0, 30.0, 0.0)
    row = {"id": 7, "text": easy.text, "name": easy.name}
    longer = replace(easy, minutes=50.0, text="50 min easy")
    assert changes._apart([(row, Kept(day, easy))], [Kept(day, longer)], "", True) == []


def test_the_steps_of_a_return_go_on_after_its_first_run(library, today, tmp_path):
    """Sixteen days off, then one easy run: the plan stays with half a week, nothing hard, then two thirds."""
    library.new_season(today, **wished(today, days="tue,wed,thu,fri,sat,sun"))
    library.accept_season(today)
    usual = library.season(today).usual["cp_minutes"]
    back = today + 17 * DAY
    (tmp_path / "back.fit").write_bytes(fit_of(simulate(back, [(1500, 0.68)], seed=3)))
    library.add([tmp_path / "back.fit"])
    library.accept_changes(date=back)
    last = back + (13 - back.weekday()) * DAY
    near = [s for s in library.sessions() if back < dt.date.fromisoformat(str(s["date"])) <= last]
    first = [s for s in near if dt.date.fromisoformat(str(s["date"])) <= back + 6 * DAY]
    assert first and {s["of_plan"]["purpose"] for s in first} <= {"easy", "long"}
    monday = back - back.weekday() * DAY
    asked = [0.0, 0.0]
    for row in near:
        asked[(dt.date.fromisoformat(str(row["date"])) - monday).days // 7] += library.session(row["text"])[
            "cp_minutes"
        ]
    assert 0 < asked[0] <= 0.52 * usual and 0 < asked[1] <= 0.67 * usual


def test_a_new_season_waits_until_the_runner_is_well(library, today):
    library.tell(date=today, illness="fever")
    with pytest.raises(HeldBack, match="rest comes first"):
        library.new_season(today, **wished(today))


def test_what_waits_is_among_what_is_due_and_a_planned_test_is_asked_for_once(library, today):
    def due(day):
        return {d["what"]: d["why"] for d in library.today(day).due}

    for row in library.runs():
        if "test" in row.marks:
            library.mark(row.id, "test", remove=True)
    assert "Run a test or mark a race" in due(today)
    number = library.plan_session(shelf.find("test: 12 and 3 minutes").text, today + 20 * DAY)
    assert "Run a test or mark a race" not in due(today)
    library.undo(number)
    assert "Run a test or mark a race" in due(today)
    library.new_season(today, **wished(today))
    library.accept_season(today)
    assert "Run a test or mark a race" in due(today) and "Look at the season's changes" not in due(today)
    library.tell(date=today, illness="cold")
    assert season.waiting(library, today) == library.season_changes(today).sentence
    assert due(today)["Look at the season's changes"] == season.waiting(library, today).rstrip(".")


def test_some_changes_can_be_accepted_and_each_is_undone_singly(library, today):
    library.new_season(today, **wished(today))
    library.accept_season(today)
    library.tell(date=today + DAY, injury="calf")
    on = today + DAY
    found = library.season_changes(on)
    first = next(c for c in found.changes if c.kind == "drop")
    library.accept_changes([first.id], on)
    assert first.session not in {s["id"] for s in library.sessions()}
    with pytest.raises(UsageError, match="is not proposed"):
        library.accept_changes([99], on)


def test_a_session_changed_by_hand_stays_as_it_was_changed(library, today):
    library.new_season(today, **wished(today))
    library.accept_season(today)
    row = next(s for s in reversed(library.sessions()) if s["of_plan"]["purpose"] == "easy")
    number = library.change_session(row["id"], text="25 min easy")
    assert all(c.session != number for c in library.season_changes(today).changes)


def test_a_missed_hard_session_moves_only_to_where_48_hours_are_free_and_takes_an_easy_ones_place(library, today):
    library.new_season(today, **wished(today, long="sat", runs="5", hard="1", easier="none"))
    plan = library.accept_season(today)
    days = {d: s for d, s in sessions_of(plan).items() if d < (today + 8 * DAY).isoformat()}
    hard = next(d for d, s in days.items() if s.purpose in ("threshold", "severe", "hills", "race"))
    missed = next(s for s in library.sessions() if str(s["date"]) == hard)
    on = dt.date.fromisoformat(hard) + DAY
    heavy = {d for d, s in days.items() if d != hard and (s.purpose == "long" or s.duration_s >= 75 * 60)}
    moved = [c for c in library.season_changes(on).changes if c.kind == "move"]
    free = [
        on + k * DAY
        for k in range(7 - on.weekday())
        if not {(on + (k + n) * DAY).isoformat() for n in (-1, 0, 1)} & heavy
    ]
    assert [c.to_date for c in moved] == [d.isoformat() for d in free[:1]]
    for change in moved:
        assert change.session == missed["id"] and change.to_text == missed["text"]
        library.accept_changes(date=on)
        that_day = [s["text"] for s in library.sessions() if str(s["date"]) == change.to_date]
        assert that_day == [missed["text"]]  # in the place of an easy run, never on top


def test_a_hard_session_missed_four_days_ago_is_gone(library, today):
    library.new_season(today, **wished(today, long="sat", runs="5", hard="1", easier="none"))
    hard = min(d for d, s in sessions_of(library.accept_season(today)).items() if s.purpose == "severe")
    day = dt.date.fromisoformat(hard)
    assert day.weekday() <= 2  # so that four days later is the same week
    for later in (1, 2, 3):  # the easy days are run, so that no return begins
        library.enter_run(f"{day + later * DAY}T08:00:00+00:00", "20:00", "4km")
    moved = [c.kind for c in library.season_changes(day + 3 * DAY).changes if c.date == hard]
    assert moved == ["move"]
    assert [c for c in library.season_changes(day + 4 * DAY).changes if c.date == hard] == []


def test_a_place_for_a_missed_session_has_48_hours_on_both_sides():
    monday = dt.date(2026, 6, 1)

    def offer(purpose, minutes=40.0, load=20.0):
        return Offer(purpose, purpose, purpose, load, minutes, 12.0 if purpose == "severe" else 0.0)

    def place(laid, past=(), most=100.0, longest=60.0, **asked):
        sessions = tuple(Kept(monday + k * DAY, offer(purpose)) for k, purpose in laid)
        week = SeasonWeek(SimpleNamespace(monday=monday), most, longest, Laid(sessions, (), True))
        basis = SimpleNamespace(
            first=monday + 2 * DAY,
            race=SimpleNamespace(date=monday + 60 * DAY),
            past=SimpleNamespace(demanding=[monday + k * DAY for k in past]),
            asked=Wishes(4, 1, 400.0, **asked),
        )
        found = changes._place(basis, week, offer("severe"))
        return None if found is None else (found - monday).days

    assert place([(2, "easy"), (6, "long")]) == 2  # in the place of the easy run
    assert place([(6, "long")], past=[1]) == 3  # the day after a hard one is none
    assert place([(4, "long")]) == 2 and place([(3, "long"), (6, "long")], past=[1]) is None
    assert place([(6, "long")], weekdays=(3, 5)) == 3 and place([(6, "long")], weekdays=(5,)) is None
    assert place([(6, "long")], easy_only=frozenset({monday + 2 * DAY})) == 3
    assert place([(4, "easy"), (6, "long")], most=59.0) == 4  # only in its place is the week within its bound
    assert place([(6, "long")], longest=35.0) is None


def test_two_weeks_under_seven_tenths_make_the_target_what_was_achieved():
    achieved = before_plan._achieved
    assert achieved(150.0, [148.0, 150.0], [None, None]) == 150.0
    assert achieved(150.0, [80.0, 90.0], [None, None]) == 85.0  # no plan, two short weeks
    assert achieved(150.0, [170.0, 160.0, 155.0, 90.0], [168.0, 160.0]) == 170.0
    assert achieved(150.0, [90.0, 160.0, 155.0, 150.0], [168.0, 160.0]) == pytest.approx(168.0 / 1.06)  # repeated
    assert achieved(150.0, [90.0, 100.0], [168.0, 160.0]) == 95.0
    assert achieved(150.0, [10.0, 20.0], [168.0, 160.0]) == 75.0  # never under half a usual week


def test_days_off_count_once_they_are_more_than_the_longest_usual_gap():
    day = dt.date(2026, 6, 30)

    def days(*back):
        at = {day - k * DAY: 1.0 for k in back}
        return before_plan.Days(at, at, at, {d: 1 for d in at})

    assert before_plan.days_off(days(0, 2, 4), day) == 0
    assert before_plan.days_off(days(3, 5, 7), day) == 0
    assert before_plan.days_off(days(6, 8, 10), day) == 6
    assert before_plan.days_off(days(6, 14, 20), day) == 0  # a gap of seven days is usual
    assert before_plan.days_off(days(), day) == 0


def test_the_week_tells_what_was_run_moved_missed_and_extra(library):
    newest = library.runs()[0].local.date()
    monday = newest - (newest.weekday() + 7) * DAY
    inside = [r for r in reversed(library.runs()) if monday <= r.local.date() < monday + 7 * DAY]
    assert len(inside) >= 3
    one, two, rest = inside[0], inside[1], inside[2:]
    minutes = round(two.duration_s / 60)
    library.plan_session(f"{round(one.duration_s / 60)} min easy", one.local.date(), "easy one")
    empty = next(monday + k * DAY for k in range(7) if all(r.local.date() != monday + k * DAY for r in inside))
    library.plan_session(f"{minutes} min easy", two.local.date(), "second")
    library.plan_session("23 h easy", empty, "never run")
    found = library.week(monday + 6 * DAY)
    of = {r.name: r for r in found.rows if r.session is not None}
    assert of["easy one"].state == "run" and of["easy one"].run == one.id
    assert of["second"].run == two.id
    assert of["never run"].state == "missed"
    assert [r.run for r in found.rows if r.state == "extra"] == [r.id for r in rest]
    assert found.run.value == pytest.approx(sum(r.load.value for r in found.rows if r.load is not None), rel=1e-6)
    assert "1 missed" in found.sentence


def test_a_run_without_the_work_of_its_day_is_told_apart(library):
    easy = next(r for r in library.runs() if r.local.weekday() == 0)  # an even easy run
    library.plan_session("10 min easy; 5 x (4 min at 115 % CP, 3 min easy)", easy.local.date(), "hard one")
    found = library.week(easy.local.date() + 6 * DAY)
    row = next(r for r in found.rows if r.session is not None)
    assert row.state == "otherwise" and row.run == easy.id and "Nothing in this run" in row.verdict
    assert "0 of 1 sessions run, 1 run without its work" in found.sentence


def test_easy_running_is_held_against_the_whole_run(library):
    hard = next(r for r in library.runs() if r.local.weekday() == 4)  # five hard pieces
    found = library.match_session(hard.id, "20 min easy")
    assert found["done"] == found["asked"] == 1 and not found["extra"]
    assert found["steps"][0]["end_s"] == pytest.approx(hard.duration_s, abs=2)
    assert "It was much longer than asked" in found["verdict"] and "cut short" not in found["verdict"]


def test_a_course_tells_how_long_and_how_hilly_the_race_is(library, today, tmp_path):
    latitude = 46.0 + np.linspace(0.0, 12_000.0 / 111_195.0, 600)
    times = {}
    for name, heights in (
        ("level", np.full(600, 10.0)),
        ("hilly", 60.0 - 50.0 * np.cos(np.linspace(0, 12 * np.pi, 600))),
    ):
        path = tmp_path / f"{name}.gpx"
        path.write_text(course_text(name, latitude, np.full(600, -21.0), heights))
        made = library.new_season(today, race=(today + 70 * DAY).isoformat(), course=path)
        assert made.race.distance_m == pytest.approx(12_000, rel=0.01) and made.race.name == name
        assert ("The course has no heights: the season is planned as for a flat one." in made.said) is (name == "level")
        assert not any("half marathon" in s for s in made.said)
        times[name] = made.race.time.value
    # Six rises of 100 m: 600 m of climb count as six kilometres.
    assert times["hilly"] > 1.3 * times["level"]


def test_hours_hold_rides_and_swims_too(library, today):
    def minutes(**more):
        """The most that a week but the race's holds of runs, and of all."""
        weeks = library.new_season(today, **wished(today, **more)).weeks[:-1]
        runs = max(sum(s.duration_s for s in w.sessions if s.on_foot) for w in weeks) / 60.0
        return runs, max(sum(s.duration_s for s in w.sessions) for w in weeks) / 60.0

    alone, _ = minutes(hours="3")
    runs, whole = minutes(hours="3", keep=["wed swim 45 min", "sat ride 1 h"])
    assert runs <= 75.0 + 1.0 < alone <= 181.0 and whole <= 181.0
    with pytest.raises(UsageError, match="not half an hour of running is left"):
        library.new_season(today, **wished(today, hours="3", keep=["sat ride 2:40:00"]))


def test_a_template_makes_the_same_season_again(library, today, tmp_path):
    made = library.new_season(today, **wished(today, hours="5", keep=["tue swim 1 h"], easier="3"))
    (tmp_path / "mine.yaml").write_text(library.season_template())
    told = yaml.safe_load((tmp_path / "mine.yaml").read_text())
    assert told["hours"] == 5.0 and "date" not in told
    other = library.season_from(tmp_path / "mine.yaml", today, race=made.race.date)
    assert [w.to_json() for w in other.weeks] == [w.to_json() for w in made.weeks]


def test_few_hours_are_said_to_hold_less_than_usual(library, today):
    assert not any("usual one" in s for s in library.new_season(today, **wished(today)).said)
    little = library.new_season(today, **wished(today, hours="1"))
    assert any("Every week stays under your usual one" in s for s in little.said)
    assert max(w.asked for w in little.weeks) < 0.85 * little.usual["cp_minutes"]


def test_after_weeks_off_the_steps_of_the_return_are_the_reason_for_small_weeks(library, today):
    later = today + 40 * DAY
    wishes = {**wished(today), "race": later + 28 * DAY}
    told = [s for s in library.new_season(later, **wishes).said if "usual" in s]
    usual = library.new_season(today, **wished(today)).usual["cp_minutes"]
    assert re.match(rf"After 4\d days .* by steps: until the race they reach \d+ of your usual {usual:.0f} ", told[0])
    few = [s for s in library.new_season(later, **{**wishes, "hours": "1"}).said if "usual" in s]
    assert "fit into the hours" in few[0]  # which bound all weeks, whatever was before them


def test_a_session_of_ones_own_on_a_day_of_the_plan_is_named(library, today):
    plain = library.new_season(today, **wished(today))
    on = next(s.date for s in plain.weeks[0].sessions)
    library.plan_session("30 min easy", dt.date.fromisoformat(on))
    said = library.new_season(today, **wished(today)).said
    assert not any("of your own" in s for s in plain.said) and sum("of your own on" in s for s in said) == 1


def test_a_season_whose_race_is_over_says_so(library, today):
    library.new_season(today, **wished(today))
    library.accept_season(today)
    assert library.season(today).sentence.endswith("Accepted.")
    assert "This race is past" in library.season(today + 71 * DAY).sentence


def test_a_race_soon_after_weeks_off_stays_in_doubt_until_a_usual_week_was_run(library, today, tmp_path):
    newest = library.runs()[0].local.date()
    race = newest + 50 * DAY

    def doubt(day):
        return doubts.race_in_doubt(library, race, day)

    assert doubt(newest) == "" and doubt(newest + 13 * DAY) == ""
    assert "After 14 days" in doubt(newest + 14 * DAY)
    (tmp_path / "back.fit").write_bytes(fit_of(simulate(newest + 15 * DAY, [(1500, 0.68)], seed=3)))
    library.add([tmp_path / "back.fit"])
    assert "After 14 days" in doubt(newest + 16 * DAY)  # the first run back changes nothing
    assert doubts.race_in_doubt(library, newest + 90 * DAY, newest + 16 * DAY) == ""


def test_a_runner_of_one_week_is_asked_and_can_tell(tmp_path, library, today):
    early = library.runs()[-1].local.date() + 8 * DAY
    try:
        library.new_season(early, **wished(early))
    except NotEnoughData as error:
        assert "three" in str(error) or "critical power" in str(error)
    else:
        pytest.fail("a week of runs tells no usual week")


def test_without_a_plan_two_short_weeks_are_gone_on_from():
    achieved = before_plan._achieved
    assert achieved(100.0, [60.0, 50.0, 500.0], [None, None, None]) == pytest.approx(55.0)
    assert achieved(100.0, [20.0, 20.0], [None, None]) == pytest.approx(50.0)  # never under half
    assert achieved(100.0, [60.0, 80.0], [None, None]) == achieved(100.0, [60.0, 0.0], [None, None]) == 100.0


def test_a_season_changes_nothing_of_the_days_before_it_was_accepted(library, today):
    library.new_season(today, **wished(today))
    later = library.season(today + 2 * DAY)
    assert "laid out again by what is known on" in later.said[0] and later.said[0].startswith(
        f"Proposed on {today.day} "
    )
    assert not any("laid out again" in s for s in library.season(today).said)
    library.accept_season(today + 2 * DAY)
    assert season.waiting(library, today + DAY) == ""
    with pytest.raises(UsageError, match="nothing of the days before"):
        season.season_changes(library, today + DAY)
    assert season.is_ahead(library, today + 2 * DAY) and not season.is_ahead(library, today + DAY)
