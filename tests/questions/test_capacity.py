"""What the runner can hold, asked of a library: clipped and lone runs, what moved it, the card, leaks."""

import datetime as dt
import re
import shutil
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from footwork.api import Library
from footwork.errors import NotEnoughData, UsageError
from footwork.history import book
from footwork.physiology import habitual
from footwork.quantities import format_pace
from footwork.questions.capacity import evidence, through_time
from footwork.reports import numbers_card, numbers_of, numbers_told
from tests.program import footwork, of_json, ok

FIRST = dt.datetime(2026, 3, 1, 8, tzinfo=dt.UTC)


def write(folder, day, watts, speed=3.0, seconds=1500):
    """A level run as CSV: constant watts and speed with a little noise."""
    rng = np.random.default_rng(day)
    clock = [FIRST + dt.timedelta(days=day, seconds=t) for t in range(seconds)]
    rows = [f"{c:%Y-%m-%dT%H:%M:%SZ},{watts + rng.normal(0, 3):.0f},{speed:.2f},100.0" for c in clock]
    (folder / f"{day:03}.csv").write_text("\n".join(["time,power,speed,altitude", *rows]) + "\n")


@pytest.fixture
def weeks(tmp_path):
    """Nine weeks of level everyday runs on one device that is not named."""
    files = tmp_path / "files"
    files.mkdir()
    for day in range(0, 63, 4):
        write(files, day, 210 if day % 8 else 225)
    with Library.open(tmp_path / "library") as library:
        library.add([files])
        yield library


def test_a_run_whose_device_read_too_high_says_so_and_does_not_lift_cp(weeks, tmp_path):
    before = weeks.capacity(date="2026-05-03").critical_power
    (tmp_path / "more").mkdir()
    write(tmp_path / "more", 61, 300)  # a third too many watts at the same speed
    weeks.add([tmp_path / "more"])
    found = weeks.run(weeks.runs()[0].id)
    assert found.clipped["share"] == pytest.approx(1 - 1.06 * 210 / 300, abs=0.05)
    assert "count" in found.clipped["why"]
    assert weeks.capacity(date="2026-05-03").critical_power.value < 1.03 * before.value
    shown = ok("show", weeks.runs()[0].id, library=weeks.folder).stdout
    assert "for critical power they count" in shown
    assert weeks.run(weeks.runs()[5].id).clipped is None


def test_a_lone_hard_run_is_named_and_a_mark_or_a_second_one_settles_it(weeks, tmp_path):
    (tmp_path / "more").mkdir()
    write(tmp_path / "more", 61, 270, 3.6)
    weeks.add([tmp_path / "more"])
    found = weeks.capacity(date="2026-05-03")
    run = weeks.runs()[0].id
    assert found.unconfirmed["run"] == run and 0.1 < found.unconfirmed["more"] < 0.25
    assert any(f"Run {run} of 2026-05-01" in w and "mark it" in w for w in found.warnings)
    assert of_json("capacity", "--date", "2026-05-03", library=weeks.folder)["unconfirmed"]["run"] == run
    write(tmp_path / "more", 62, 270, 3.6)
    write(tmp_path / "more", 63, 270, 3.6)
    weeks.add([tmp_path / "more"])
    assert weeks.capacity(date="2026-05-03").unconfirmed is None


def test_a_walk_marked_as_a_test_is_said_not_to_count(weeks, tmp_path):
    before = weeks.capacity(date="2026-05-03").critical_power.value
    (tmp_path / "more").mkdir()
    write(tmp_path / "more", 61, 90, 1.4)
    weeks.add([tmp_path / "more"])
    run = weeks.runs()[0].id
    weeks.mark(run, "test")
    found = weeks.capacity(date="2026-05-03")
    told = (
        f"Marked as a race or test, run {run} of 2026-05-01 does not count: its best effort tells of over 15 % less "
        "critical power than everyday runs do, so it was no all-out effort, or its watts are wrong."
    )
    assert told in found.warnings and found.critical_power.value == pytest.approx(before, rel=1e-3)
    assert told in " ".join(ok("capacity", "--date", "2026-05-03", library=weeks.folder).stdout.split())


def test_a_test_that_everyday_runs_outdo_is_said_to_count_and_what_to_do(weeks, tmp_path):
    (tmp_path / "more").mkdir()
    write(tmp_path / "more", 61, 205)
    weeks.add([tmp_path / "more"])
    run = weeks.runs()[0].id
    weeks.mark(run, "test")
    said = [w for w in weeks.capacity(date="2026-05-03").warnings if f"run {run} of 2026-05-01" in w]
    assert len(said) == 1 and "less critical power than everyday runs do: it counts, so take the mark off" in said[0]
    weeks.mark(run, "test", remove=True)
    assert not any(f"run {run} of" in w for w in weeks.capacity(date="2026-05-03").warnings)


def test_only_tests_that_would_narrow_critical_power_are_proposed(weeks, monkeypatch):
    found = weeks.capacity(date="2026-05-03")
    half = 0.5 * (found.critical_power.high - found.critical_power.low)
    left = {(180.0,): 1.1, (720.0,): 0.99, (1200.0,): 0.9, (180.0, 720.0): 0.7}
    monkeypatch.setattr(through_time.tracking, "half_width_after", lambda _, d: half * left.get(d, 1.0))
    assert [t["test"] for t in through_time.worthwhile_tests(found)] == ["3 and 12 min", "20 min"]


def test_early_then_told_with_what_moved_it(weeks):
    days = [weeks.capacity(date=FIRST.date() + dt.timedelta(days=d)) for d in (16, 24, 30)]
    assert [d.critical_power.value is None for d in days] == [True, False, False]
    assert [d.early for d in days] == [False, True, False]
    bound = days[0]
    assert f"at least {bound.lower_bound:.0f} W" in bound.critical_power.reason and bound.lower_bound > 200
    assert any("Early" in w for w in days[1].warnings)
    told = weeks.history("2026-06-20")
    kinds = {m["kind"] for m in told["moved"]}
    assert kinds <= {"habitual", "ageing", "lay-off"} and "lay-off" in kinds
    fall = next(m for m in told["moved"] if m["kind"] == "lay-off")
    assert fall["after_w"] < fall["before_w"] and fall["run"] is None and fall["label"] == "days without running"
    # Every change from one day to the next has its row: the sum of the rows is the whole way.
    rows = [r["critical_power"]["value"] for r in told["history"] if r["critical_power"]["value"]]
    along = sum(m["after_w"] - m["before_w"] for m in told["moved"])
    assert along == pytest.approx(rows[-1] - rows[0], abs=0.012 * rows[0])
    # Each day of the history is what would have been said that day.
    on = next(r for r in told["history"] if r["date"] == "2026-04-20")
    assert on["critical_power"]["value"] == pytest.approx(
        weeks.capacity(date="2026-04-20").critical_power.value, rel=0.003
    )


def test_with_a_date_nothing_later_counts(weeks, tmp_path):
    asked = weeks.capacity(date="2026-04-10")
    with Library.open(tmp_path / "before") as earlier:
        earlier.add([p for p in sorted((tmp_path / "files").glob("*.csv")) if int(p.stem) <= 40])
        again = earlier.capacity(date="2026-04-10")
    assert asked.critical_power == again.critical_power and asked.domains == again.domains


def test_bests_and_critical_power_on_one_page_agree(weeks):
    found = weeks.capacity()
    best = {row["duration_s"]: row for row in found.curve}
    told = evidence.days(weeks, found.scale_key, found.date).on(found.date.toordinal())
    for duration, aged in zip(habitual.DURATIONS, told.front.best, strict=True):
        assert not np.isfinite(aged) or best[duration]["model"].low >= 0.92 * np.exp(aged)
    # More than anybody ran for two minutes is marked as extrapolated.
    border = found.domains["severe_extreme"]["power"].value
    assert border > best[120]["power_w"] and "extrapolated" in found.extrapolated


def test_the_card_holds_domains_usual_running_and_how_long(season_library, tmp_path):
    shutil.copytree(season_library.folder, tmp_path / "library")
    path = tmp_path / "card.pdf"
    said = ok("capacity", "--card", path, library=tmp_path / "library").stdout
    assert path.read_bytes().startswith(b"%PDF") and f"Wrote {path}" in said
    with Library.open(tmp_path / "library") as library:
        held = library.capacity()
        told = numbers_of(library, held)
        assert numbers_card(told)[:4] == b"%PDF"
        long = {**told, "notes": ["What must be said of these numbers, at some length. " * 3] * 6}
        assert [len(re.findall(rb"/Type */Page\b", numbers_card(t))) for t in (told, long)] == [1, 1]  # for the fridge
        rows = {r["name"]: r for r in told["domains"]}
        cp = held.domains["heavy_severe"]["power"]
        assert rows["around critical power"]["watts"] == f"{cp.low:.0f}–{cp.high:.0f}"
        low = held.domains["moderate_heavy"]["power"]
        assert rows["moderate"]["watts"] == f"to {low.value:.0f}"
        assert rows["heavy"]["watts"] == f"{low.value:.0f}–{cp.low:.0f}"
        # The band of watts has the heart rate and pace of its watts: by the line through both borders' values.
        one, two = (held.domains[n]["heart_rate"].value for n in ("moderate_heavy", "heavy_severe"))
        beat = (two - one) / (cp.value - low.value)
        assert rows["around critical power"]["rate"] == "–".join(
            f"{two + beat * (w - cp.value):.0f}" for w in (cp.low, cp.high)
        )
        slow, fast = (format_pace(float(held.power_at_speed.speed(w))).split(" ")[0] for w in (cp.low, cp.high))
        assert rows["around critical power"]["pace"] == f"{slow}–{fast}" and rows["severe"]["pace"].startswith(fast)
        assert rows["heavy"]["rate"] == f"{one:.0f}–{two + beat * (cp.low - cp.value):.0f}"
        assert f"between {low.low:.0f} and {low.high:.0f} W (heart rate " in " ".join(told["notes"])
        assert rows["severe"]["rate"] == ""  # heart rate does not tell that border
        assert [u["name"] for u in told["usual"]][:2] == ["easy", "steady"]
        for shown, row in zip(told["paces"], library.usual()["at_pace"], strict=True):  # a day's spread, and the error
            error = 0.5 * (row["power"]["high"] - row["power"]["low"])
            assert float(shown["days"]) == pytest.approx(np.hypot(error, 1.96 * row["spread_w"]), abs=0.6)
        newest = max(dt.date.fromisoformat(e["label"]) for e in held.evidence["efforts"] if e["kind"] == "maximal")
        assert told["until"] == str(newest + dt.timedelta(days=42))
    done = footwork("capacity", "--card", tmp_path / "card.txt", library=tmp_path / "library")
    assert done.returncode == 2 and ".pdf" in done.stderr


def test_the_card_says_what_was_accepted_and_refuses_stated_efforts(weeks, tmp_path):
    found = weeks.capacity()
    told = numbers_of(weeks, found)
    assert told["until"] == str(found.date + dt.timedelta(days=14))  # nothing but everyday runs
    weeks.accept(300, found.date)
    assert numbers_of(weeks, weeks.capacity())["cp"].startswith(f"300 W, accepted on {found.date}")
    done = footwork("capacity", "--effort", "3:00=361", "--effort", "12:00=300", "--card", tmp_path / "a.pdf")
    assert done.returncode == 2 and "leave out --effort" in done.stderr and not (tmp_path / "a.pdf").exists()


def test_a_race_entered_by_hand_is_not_judged_by_later_runs(weeks):
    day = FIRST.date() + dt.timedelta(days=30)
    weeks.enter_run(dt.datetime.combine(day, dt.time(10)), 2400, metres=8000, name="race")
    row = next(r for r in weeks.runs() if r.entered_by_hand)
    with pytest.raises(UsageError, match=r"nobody has run 10\.00 km in 25:00"):
        weeks.enter_run(dt.datetime.combine(day, dt.time(15)), 1500, metres=10_000, name="race")
    weeks.mark(row.id, "race")
    on = weeks.capacity(date=day).critical_power.value
    then = next(r for r in weeks.history()["history"] if r["date"] == str(day))
    assert then["critical_power"]["value"] == pytest.approx(on, rel=0.003)


def test_no_card_without_critical_power(tmp_path):
    with Library.open(tmp_path / "l") as library:
        (tmp_path / "one").mkdir()
        write(tmp_path / "one", 0, 220)
        library.add([tmp_path / "one"])
        told = numbers_told(library.capacity(), None)
        assert told["domains"] == [] and "at least" in told["withheld"]
        with pytest.raises(NotEnoughData, match="a card needs critical power"):
            numbers_card(told)


def test_a_new_run_goes_on_from_the_kept_days_and_the_numbers_are_the_same(weeks, tmp_path):
    first = weeks.history()
    (kept,) = (weeks.folder / "derived" / "capacity").glob("*.json")
    (tmp_path / "more").mkdir()
    write(tmp_path / "more", 64, 240, 3.2)
    weeks.add([tmp_path / "more"])
    went_on = weeks.history()
    assert went_on["history"][: len(first["history"]) - 1] == first["history"][:-1]
    for spoil in (kept.unlink, lambda: kept.write_text("{"), lambda: kept.write_text('{"digest": "x", "until": 1}')):
        spoil()
        weeks.refresh()
        anew = weeks.history()
        assert (anew["history"], anew["moved"]) == (went_on["history"], went_on["moved"])
    # A run of an earlier day changes the days since, kept or not.
    write(tmp_path / "more", 33, 260, 3.4)
    weeks.add([tmp_path / "more"])
    assert weeks.history()["history"] != went_on["history"]
    weeks.delete(weeks.runs()[0].id, forever=True)
    assert not kept.exists()


def test_weeks_without_running_lower_what_is_proposed_and_leave_what_was_accepted(weeks):
    last = weeks.runs()[0].local.date()
    weeks.accept(260, last)
    before, after = weeks.capacity(date=last), weeks.capacity(date=last + dt.timedelta(days=21))
    assert last == dt.date(2026, 4, 30)
    lost = 0.75 * 0.165 * (1 - np.exp(-21 / 22))
    assert after.critical_power.value == pytest.approx((1 - lost) * before.critical_power.value, rel=0.006)
    assert after.accepted["critical_power_w"] == 260
    middle = [c.domains["heavy_severe"]["power"].value for c in (before, after)]
    assert middle == pytest.approx([260, 260], rel=0.01)  # the accepted one rules, silently nothing changes it
    words = " ".join(after.warnings)
    assert "21 days without running, where 3 were the most" in words and "7.6 % less (4.6 to 11.2 %)" in words
    assert "260 W, is of before the days without running and stays as it is" in words
    assert not [w for w in before.warnings if "without" in w and "running" in w]
    said = ok("capacity", "--date", last + dt.timedelta(days=21), library=weeks.folder).stdout
    assert "21 days without running" in said
    weeks.accept(240, last + dt.timedelta(days=14))  # who accepts one meanwhile knows of them
    assert "stays as it is" not in " ".join(weeks.capacity(date=last + dt.timedelta(days=21)).warnings)


def test_hard_rides_meanwhile_keep_it(weeks, monkeypatch):
    last = weeks.runs()[0].local.date()
    rides = [
        {"date": f"{last + dt.timedelta(days=d)}T08:00:00", "duration_s": 5400.0, "heart_rate_bpm": None}
        for d in range(1, 21)
    ]
    monkeypatch.setattr(type(weeks), "activities", lambda self: rides)
    (easy,) = evidence.lay_offs(weeks, last + dt.timedelta(days=21))
    assert not any(easy.spared) and easy.loss(last.toordinal() + 21) > 0.07
    weeks.tell(date=last + dt.timedelta(days=4), exertion=7)
    (hard,) = evidence.lay_offs(weeks, last + dt.timedelta(days=21))
    # A week from the fourth day on: 21 days without running, 14 without anything hard in the last seven.
    assert hard.spared == (0.0,) * 3 + (1.0,) * 7 + (0.0,) * 11
    assert hard.loss(last.toordinal() + 21) == pytest.approx(0.75 * 0.165 * (1 - np.exp(-14 / 22)))


@pytest.mark.parametrize(("beats", "spared"), [(139.0, 0.0), (140.0, 1.0)])  # as high as in usual runs
def test_a_ride_is_hard_by_its_heart_rate_too(weeks, monkeypatch, beats, spared):
    runs = [replace(r, heart_rate_bpm=140.0) for r in weeks.runs()]
    last = runs[0].local.date()
    rides = [
        {"date": str(last + dt.timedelta(days=d)), "duration_s": 5400.0, "heart_rate_bpm": beats} for d in range(1, 21)
    ]
    monkeypatch.setattr(type(weeks), "activities", lambda self: rides)
    monkeypatch.setattr(type(weeks), "runs", lambda self: runs)
    (made,) = evidence.lay_offs(weeks, last + dt.timedelta(days=21))
    assert set(made.spared[:20]) == {spared}
    # What later runs show is not known on the day.
    later = [
        replace(runs[0], start="2026-06-10T08:00:00+00:00", date="2026-06-10T08:00:00+00:00", heart_rate_bpm=120.0)
    ]
    monkeypatch.setattr(type(weeks), "runs", lambda self: [*later * 30, *runs])
    (again,) = evidence.lay_offs(weeks, last + dt.timedelta(days=21))
    assert again.spared == made.spared


def test_a_fall_of_weeks_without_running_is_told_as_of_the_day_it_ended():
    nothing = SimpleNamespace(everyday=SimpleNamespace(day=np.array([], dtype=np.int64)), bests=[])
    first = dt.date(2026, 10, 26).toordinal()
    walk = through_time._Changes(before=276.0)
    watts = [*np.linspace(275, 255, 21), *np.linspace(255.5, 263, 13)]
    for k, cp in enumerate(watts):
        walk.note(nothing, SimpleNamespace(tests=[], day=first + k, lay_off=object()), float(cp))
    up, down = walk.told()
    assert (down["date"], down["label"], round(down["before_w"]), round(down["after_w"])) == (
        "2026-11-15",
        "days without running",
        276,
        255,
    )
    assert (up["date"], up["label"], round(up["after_w"])) == ("2026-11-28", "running as usual again", 263)


def test_a_bound_that_rests_on_one_run_alone_names_it(tmp_path):
    files = tmp_path / "files"
    files.mkdir()
    for day, watts in ((0, 200), (2, 260), (4, 200)):
        write(files, day, watts, speed=watts / 70)
    with Library.open(tmp_path / "few") as library:
        library.add([files])
        found = library.capacity(date=FIRST.date() + dt.timedelta(days=5))
        hard = max(library.runs(), key=lambda r: r.power_w).id
    shown = ok("show", hard, library=tmp_path / "few").stdout
    assert f"No domains: critical power is not known on {found.scale}." in shown
    assert found.lower_bound == pytest.approx(255, abs=8)
    named = re.search(
        r"run (\d+) alone says it, (\d+) % beyond the others, so leave it out", found.critical_power.reason
    )
    assert named and int(named[1]) == hard and int(named[2]) == pytest.approx(100 * (260 / 200 / 1.02 - 1), abs=3)


def test_what_was_found_without_a_date_ends_with_the_day(weeks, monkeypatch):
    asked = []
    for _ in range(2):
        assert weeks.cached("now", lambda: asked.append(1) or len(asked)) == 1

    tomorrow = dt.date.today() + dt.timedelta(days=1)
    monkeypatch.setattr(book, "dt", SimpleNamespace(date=SimpleNamespace(today=lambda: tomorrow)))
    assert weeks.cached("now", lambda: asked.append(1) or len(asked)) == 2


def test_sessions_ahead_are_to_come(weeks):
    weeks.plan_session("30 min easy", dt.date.today() + dt.timedelta(days=3))
    weeks.plan_session("40 min easy", dt.date(2026, 3, 2))
    ahead, gone = ok("session", "list", library=weeks.folder).stdout.splitlines()
    assert ahead.endswith("  to come") and gone.endswith("  no run that day")
