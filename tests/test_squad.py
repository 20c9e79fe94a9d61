"""A coach's squad: a line a runner, what is withheld, what cannot be read, groups, and that an unchanged squad is only
read."""

import datetime as dt
import json
import shutil
import sqlite3
from contextlib import closing

import pytest
import typst

from footwork import Library, Squad
from footwork.errors import UsageError
from footwork.history.log import comments
from footwork.maintenance import export, printed
from footwork.squad import frame
from footwork.squad.kept_lines import worked_out
from footwork.store import stamps
from footwork.wording.squad_words import short_words, week_words
from tests.program import footwork, of_json, ok

SECRET = "sciatica-word"
DAY = dt.timedelta(days=1)


def line(club, name, today):
    return next(a for a in Squad.open(club).lines(today).athletes if a.athlete == name)


def test_a_line_holds_what_the_runners_own_answers_say(club, library, today):
    found = line(club, "anna", today)
    week, due = library.week(today), library.today(today)
    assert found.days_since == due.days_since == 0 and found.run == week.run
    assert found.critical_power.to_json() == due.critical_power and found.scale == due.scale
    assert found.usual.to_json() == due.usual_week
    assert found.evidence == due.evidence
    tested = max(r.local.date() for r in library.runs() if "test" in r.marks)
    assert found.evidence_days == (today - tested).days
    assert found.progress == library.progress(date=today).sentence
    assert found.seven_days.value == pytest.approx(library.load(today - 6 * DAY, today).load.value, rel=1e-6)
    assert found.seven_days.low < found.seven_days.value < found.seven_days.high
    assert found.race is None and found.next is None and found.health == "" and not found.shared


@pytest.mark.parametrize(
    "low, high, usual, words",
    [
        (101.0, 130.0, (60.0, 100.0), "above usual"),
        (99.0, 130.0, (60.0, 100.0), "usual"),
        (30.0, 59.0, (60.0, 100.0), "below usual"),
        (30.0, 61.0, (60.0, 100.0), "usual"),
    ],
)
def test_load_is_called_unusual_only_where_its_whole_interval_is(low, high, usual, words):
    from footwork.quantities import Estimate
    from footwork.results.loads import UsualWeek
    from footwork.wording.squad_words import against_usual_words

    seven = Estimate(0.5 * (low + high), low, high, "CP-min", 3, "load", "runs")
    week = UsualWeek(cp_minutes=80.0, low=usual[0], high=usual[1], all_sport=80.0, weeks=8)
    assert against_usual_words(seven, week) == words
    assert against_usual_words(seven, None) == "not known"


def test_those_who_need_the_coach_come_first_and_why(club, today):
    with Library.open(club / "ben") as ben:
        ben.consent("told")
        ben.share_diary(True)
        ben.tell(date=today, illness=SECRET)
    with Library.open(club / "cleo") as cleo:
        day = today + (6 - today.weekday()) * DAY
        cleo.new_season(day, race=(day + 70 * DAY).isoformat(), distance="10km")
        cleo.accept_season(day)
    found = Squad.open(club).lines(today)
    names = [a.athlete for a in found.athletes]
    assert names[0] == "ben" and found.athletes[0].first[0] == "not now"
    assert "illness" in found.athletes[0].health
    assert found.sentence.startswith("3 runners: 1 to look at first")
    cleo = found.athletes[names.index("cleo")]
    assert cleo.race["days"] == (day + 70 * DAY - today).days and cleo.next["date"] > today.isoformat()
    soon = line(club, "cleo", dt.date.fromisoformat(cleo.race["date"]) - 5 * DAY)
    assert "10 km in 5 days" in soon.first
    assert any("no run for" in w for w in soon.first) and soon.days_since > 60
    by_name = Squad.open(club).lines(today, sort="name").athletes
    assert [a.athlete for a in by_name] == ["anna", "ben", "cleo"]


def test_a_diary_that_is_not_shared_is_in_no_output(club, today, tmp_path, monkeypatch):
    sheets, draw = [], typst.compile  # the words of a sheet stand in no PDF as they are: what it is made of is searched
    monkeypatch.setattr(typst, "compile", lambda *a, **k: (sheets.append(str(k.get("sys_inputs"))), draw(*a, **k))[1])
    with Library.open(club / "ben") as ben:
        ben.tell(date=today, illness=SECRET, note=SECRET, soreness=9.0)
        ben.tell(run=ben.runs()[0].id, note=SECRET, injury=SECRET)
    day = ["--date", today.isoformat()]
    said = [ok("squad", club, *day).stdout, json.dumps(of_json("squad", club, *day))]
    ok("squad", club, *day, "--table", tmp_path / "a.csv")
    said.append((tmp_path / "a.csv").read_text())
    assert "not now" in said[0] and not any(SECRET in s or "illness" in s or "injury" in s for s in said)
    assert line(club, "ben", today).health == "Not now."
    out = tmp_path / "out"
    for words in (["show", club, "--short"], ["week", club], ["side", club, "anna", "ben"], ["priors", club]):
        said += [ok("squad", *words, *day).stdout, json.dumps(of_json("squad", *words, *day))]
    for form in ("pdf", "html", "text"):
        for over in ("week", "season"):
            said.append(ok("squad", "report", club, "--to", out / form, "--form", form, "--over", over, *day).stdout)
    ok("squad", "refresh", club, *day, "--table", tmp_path / "out" / "all.parquet")
    files = ["--fit", out / "fit", "--ics", out / "g.ics", "--pdf", out / "g.pdf"]
    said.append(ok("squad", "prescribe", club, "30 min easy", *day, *files).stdout)
    made = [p for p in out.rglob("*") if p.is_file()]
    assert {p.suffix for p in made} >= {".pdf", ".html", ".md", ".parquet", ".ics"} and len(sheets) > 6
    for told in (*said, *sheets, *(p.read_bytes().decode("latin-1") for p in made)):
        assert SECRET not in told and "sciatica" not in told.lower()


def test_what_cannot_be_read_says_so_and_the_others_stand(club, today):
    (club / "notes").mkdir()
    (club / ".hidden").mkdir()
    with closing(sqlite3.connect(club / "ben" / "library.sqlite")) as raw:
        raw.execute("PRAGMA user_version=999")
    (club / "cleo" / "library.sqlite").write_bytes(b"no database" * 1000)
    Library.open(club / "dora").close()
    found = {a.athlete: a for a in Squad.open(club).lines(today).athletes}
    assert set(found) == {"anna", "ben", "cleo", "dora", "notes"}
    assert found["notes"].problem == "no library is in this folder"
    assert "newer Footwork" in found["ben"].problem and "restore it from a backup" in found["cleo"].problem
    assert found["anna"].problem == "" and found["anna"].critical_power.value
    assert found["dora"].problem == "" and found["dora"].days_since is None  # nothing in it yet
    done = footwork("squad", club, "--date", today.isoformat())
    assert done.returncode == 0 and "3 cannot be read" in done.stdout.splitlines()[0]


def test_an_unchanged_squad_is_only_read_and_a_changed_runner_is_worked_out_again(club, today, monkeypatch):
    made = Squad.open(club).lines(today)
    monkeypatch.setattr("footwork.squad.kept_lines.worked_out", None)  # nothing is worked out
    monkeypatch.setattr("footwork.squad.kept_lines._by_processes", None)
    again = Squad.open(club).lines(today)
    assert again.to_json() == made.to_json()
    monkeypatch.undo()
    with Library.open(club / "anna") as anna:
        anna.tell(date=today, illness="cold")
    called = []
    monkeypatch.setattr("footwork.squad.kept_lines.worked_out", lambda f, n, d: called.append(n) or worked_out(f, n, d))
    assert Squad.open(club).lines(today).athletes[0].athlete == "anna" and called == ["anna"]
    Squad.open(club).lines(today, workers=1, fresh=True)
    assert sorted(called) == ["anna", "anna", "ben", "cleo"]


def test_several_processes_say_the_same(club, today, processes):
    one = Squad.open(club).lines(today, workers=1, fresh=True).to_json()
    two = Squad.open(club).lines(today, workers=2, fresh=True).to_json()
    for found in (one, two):
        for row in found["athletes"]:
            del row["made_at"]
    assert one == two


def test_groups_are_kept_in_the_folder_and_filter(club, today):
    made = Squad.open(club)
    assert made.groups() == {}
    assert made.put_in_group("climbers", ["anna", "cleo"]) == {"climbers": ["anna", "cleo"]}
    assert [a.athlete for a in made.lines(today, group="climbers", sort="name").athletes] == ["anna", "cleo"]
    assert made.lines(today, sort="name").athletes[0].groups == ["climbers"]
    assert made.put_in_group("climbers", ["cleo"], remove=True) == {"climbers": ["anna"]}
    with pytest.raises(UsageError, match="no runner is called 'annika': there is anna"):
        made.put_in_group("climbers", ["annika"])
    with pytest.raises(UsageError, match="no group 'x'"):
        made.lines(today, group="x")
    with pytest.raises(UsageError, match="not sorted by 'mood'"):
        made.lines(today, sort="mood")
    with pytest.raises(UsageError, match="folder that holds the libraries"):
        Squad.open(club / "anna").put_in_group("one", ["anna"])
    (club / "groups.yaml").write_text("[1, 2")
    with pytest.raises(UsageError, match="holds no groups"):
        made.groups()


def test_a_name_may_be_written_in_small_letters(club):
    (club / "anna").rename(club / "Anna")
    made = Squad.open(club)
    assert made.folder_of("anna") == made.folder_of("Anna") == club / "Anna"
    with pytest.raises(UsageError, match="no runner is called 'an': there is Anna"):
        made.folder_of("an")


def test_two_runners_of_one_name_are_told_apart(club, library, tmp_path):
    shutil.copytree(library.folder, tmp_path / "other" / "anna")
    names = set(Squad.open(club, tmp_path / "other").athletes)
    assert names == {"anna (club)", "anna (other)", "ben", "cleo"}
    assert set(Squad.open(club, club).athletes) == {"anna", "ben", "cleo"}  # one folder twice is one


def test_a_folder_without_runners_is_no_squad(tmp_path):
    with pytest.raises(UsageError, match="no folder"):
        Squad.open(tmp_path / "nowhere")
    with pytest.raises(UsageError, match="no runner's library"):
        Squad.open(tmp_path)


def test_a_table_has_a_row_a_runner_and_no_formula(club, today):
    (club / "=1+2").mkdir()
    made = Squad.open(club).lines(today, sort="name")
    table = frame(made.athletes)
    assert table["athlete"].to_list() == ["=1+2", "anna", "ben", "cleo"]
    assert [row.partition(",")[0] for row in export.csv_of(table[:, 3:]).decode().splitlines()][1] == "'=1+2"
    anna = table.row(1, named=True)
    assert anna["critical_power_low"] < anna["critical_power_value"] < anna["critical_power_high"]
    assert anna["usual_low"] <= anna["usual_cp_minutes"] <= anna["usual_high"]


def test_lines_are_kept_for_the_coach_not_for_the_runner(club, today):
    """What is kept of a line never answers the runner's own commands, nor the other way round."""
    place = club / "anna" / printed.FOLDER
    shutil.rmtree(place, ignore_errors=True)
    Squad.open(club).lines(today)
    kept = [stamps.read_kept(p) for p in place.iterdir()]
    assert len(kept) == 1 and json.loads(kept[0].partition("\n")[2])["athlete"] == "anna"


def test_a_line_tells_of_the_week_of_new_runs_and_of_what_the_runner_said(club, today):
    with Library.open(club / "anna") as anna:
        newest = anna.runs()[0]
        comments.comment(anna, "felt light", run=newest.id)
        comments.comment(anna, "well run", by="coach", run=newest.id)
        anna.plan_session("40 min easy", today)
        anna.plan_session("10 min easy, 5 x (3 min at 106 % CP, 2 min easy jog), 10 min easy", monday_of(today))
    (line,) = Squad.open(club).lines(today, find="anna").athletes
    assert [r["run"] for r in line.lately] == [newest.id] and line.lately[0]["date"] == newest.date[:10]
    assert line.lately[0]["title"] not in ("", "Run") and line.lately[0]["duration_s"] == newest.duration_s
    assert [d["date"] for d in line.days] == sorted(d["date"] for d in line.days) and len(line.days) >= 2
    fields = week_words(line, monday_of(today))
    assert len(fields) == 7 and sum(bool(f) for f in fields) == len({d["date"] for d in line.days})
    short = short_words(line)
    assert short[0] == "anna" and short[2] == "today" and f"{line.critical_power.value:.0f} (" in short[4]
    today_said = dt.date.today()
    (said,) = Squad.open(club).lines(today_said, find="anna").athletes[0].said
    assert (said["text"], said["about"], said["of"]) == ("felt light", "run", str(newest.id))


def monday_of(day):
    return day - dt.timedelta(days=day.weekday())


def test_commands_show_the_week_of_all_and_a_line_each(club, today):
    done = ok("squad", "show", club, "--short", "--date", today)
    lines = done.stdout.splitlines()
    assert len(lines) == 5 and lines[1].split()[:2] == ["look", "first"]
    assert [row.split()[0] for row in lines[2:]].count("anna") == 1
    at = lines[1].index("last run")
    assert all(row[at:].startswith("today") for row in lines[2:])
    done = ok("squad", "week", club, "--date", today)
    heads = done.stdout.splitlines()[0]
    assert [w for w in heads.replace(",", "").split() if w.isalpha()].count("today") == 1
    days = [w for w in heads.split() if w.isalpha() and w != "today"]
    assert days == ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"]
    assert len(done.stdout.splitlines()) == 5


def test_reports_go_to_several_at_once(club, today, tmp_path):
    (club / "cleo" / "library.sqlite").write_bytes(b"no database at all, but long enough to look at" * 20)
    squad = Squad.open(club)
    squad.put_in_group("track", ["anna", "cleo"])
    done = footwork(
        "squad", "report", club, "--to", tmp_path / "out", "--group", "track", "--form", "html", "--date", today
    )
    assert done.returncode == 3 and "cleo" in done.stderr and "Traceback" not in done.stderr
    assert [p.name for p in (tmp_path / "out").iterdir()] == ["anna-week.html"]
    done = ok(
        "squad", "report", club, "--to", tmp_path / "all", "--athlete", "anna", "--athlete", "ben", "--date", today
    )
    assert sorted(p.name for p in (tmp_path / "all").iterdir()) == ["anna-week.pdf", "ben-week.pdf"]
    assert (tmp_path / "all" / "anna-week.pdf").read_bytes().startswith(b"%PDF")
    assert footwork("squad", "report", club, "--to", tmp_path / "x", "--over", "decade").returncode == 2
    assert not (tmp_path / "x").exists()
