"""A report to the runner: what it says, what it keeps to itself, and as it is sent."""

import datetime as dt
import re

import pytest

from footwork import Library
from footwork.charts.report_pictures import pictures
from footwork.errors import UsageError
from footwork.quantities import Estimate
from footwork.reports import letter
from footwork.wording.report_words import as_markdown, raced, raced_well, told
from footwork.wording.season_words import day_name
from tests.program import footwork, of_json, ok

SECRET = "sciatica-word"
DAY = dt.timedelta(days=1)


@pytest.fixture
def today(library):
    return library.runs()[0].local.date()


def part(report, title):
    return next(p for p in report.parts if p.title == title)


def test_a_report_holds_the_librarys_own_answers(library, today):
    made = library.report("week", today)
    assert (made.first, made.last) == ((today - today.weekday() * DAY).isoformat(), today.isoformat())
    cp, week = library.capacity(date=today).critical_power, library.week(today)
    numbers = dict(part(made, "Numbers now").rows)
    assert numbers["Critical power"] == f"{cp.value:.0f} W, {cp.low:.0f} to {cp.high:.0f}"
    assert part(made, "Asked and run").sentences[0] == week.sentence
    assert made.weeks[-1]["run"] == week.run and len(made.weeks) == 8
    assert f"within {50 * (cp.high - cp.low) / cp.value:.0f} %" in part(made, "How sure this is").sentences[0]
    moved = [m for m in library.history(date=today)["moved"] if m["date"] >= made.first]
    said = part(made, "What changed, and why").sentences
    assert len(said) == max(len(moved), 1) and (not moved or f"{moved[0]['after_w']:.0f} W" in said[0])
    assert [p.title for p in made.parts] == [
        "Asked and run",
        "What went well",
        "What changed, and why",
        "Open checks",
        "Numbers now",
        "The next fourteen days",
        "One question",
        "How sure this is",
    ]


@pytest.mark.parametrize(
    "ends, words", [((127.0, 13.0, 241.0), "between 13 and 241 W"), ((290.0, 280.0, 301.0), "290 W, 280 to 301")]
)
def test_a_number_that_is_hardly_known_has_no_middle(ends, words):
    assert told(Estimate(*ends, "W", 3, "usual", "runs")) == words


def test_a_block_has_its_weeks_and_a_season_its_sheets(library, today):
    block = library.report("block", today)
    assert len(part(block, "Asked and run").rows) == 4 and block.curve == []
    season = library.report("season", today)
    assert [p.title for p in season.parts if p.sheet] == ["The curve", "Races against their plans", "Trials"]
    assert part(season, "Progress").sentences[0] == library.progress(date=today).sentence
    held = {row[0]: row[1] for row in part(season, "The curve").rows}
    best = {p["duration_s"]: p["power_w"] for p in library.capacity(date=today).curve}
    assert held["3:00"] == f"{best[180]:.0f} W"
    with pytest.raises(UsageError, match="no report on a 'year'"):
        library.report("year")
    with pytest.raises(UsageError, match="needs one"):
        library.report("week", library.runs()[-1].local.date() - DAY)


def test_the_one_thing_that_went_well_and_the_question_come_from_what_was_asked(library, today):
    hard = next(r for r in library.runs() if r.local.weekday() == 4)  # five hard pieces
    on = hard.local.date()
    assert "regular running" in part(library.report("week", on), "What went well").sentences[0]
    pieces = [e for e in library.efforts(hard.id) if e["kind"] == "work"]
    watts = sum(e["power"] for e in pieces) / len(pieces)
    library.plan_session(f"10 min easy, {len(pieces)} x (3 min at {watts:.0f} W, 100 s easy jog)", on, "fives")
    well = part(library.report("week", on), "What went well").sentences[0]
    assert well.startswith("fives on Fri") and "as hard as asked" in well
    library.plan_session("30 min easy", on - DAY, "never run")
    report = library.report("week", on)
    assert report.question == f"What was in the way of never run on {on - DAY:%a} {(on - DAY).day} {on - DAY:%b}?"
    (
        library.plan_session("40 min easy", on + 14 * DAY, "far"),
        library.plan_session("20 min easy", on + 15 * DAY, "farther"),
    )
    ahead = part(library.report("week", on), "The next fourteen days").rows
    assert ["far"] == [row[1] for row in ahead if row[1].startswith("far")]
    assert part(library.report("week", on), "The next fourteen days").headers == ["day", "session", "in words"]


def test_what_is_passed_on_tells_of_the_diary_only_what_is_shared(library, today, tmp_path):
    library.tell(date=today, illness=SECRET, note=SECRET)
    paths = [tmp_path / "r.html", tmp_path / "r.md"]
    words = ["report", "--date", today.isoformat(), "--html", paths[0], "--text", paths[1]]

    def written():
        ok(*words, library=library.folder)
        return "".join(p.read_text() for p in paths) + str(
            of_json("report", "--date", today.isoformat(), library=library.folder)
        )

    said = written()
    assert SECRET not in said and not re.search("illness|injury|ill since", said) and "Not now" in said
    library.consent("told")
    library.share_diary(True)
    assert "illness" in written()


def test_a_return_from_illness_is_told_with_its_day_only_where_the_diary_is_shared(library, today):
    library.plan_session("30 min easy", today + DAY)
    library.tell(date=today - 3 * DAY, illness="cold")
    library.tell(date=today - DAY, well="again")
    until = library.health(today).until
    easy = f"Easy running only up to and including {until}: what is hard until then waits."

    def said():
        with library.seen_by_coach() as seen:
            return part(seen.report("week", today), "The next fourteen days").sentences[0]

    assert part(library.report("week", today), "The next fourteen days").sentences[0] == easy
    assert said() == "Not now: what is kept here waits."
    with library.seen_by_coach() as seen:  # nor does the first page tell a return from an illness
        assert [s["not_now"] for s in seen.today(today)["next"]] == [True]
    assert [s["not_now"] for s in library.today(today)["next"]] == [False]
    library.consent("told")
    library.share_diary(True)
    assert said() == easy


def test_its_text_can_be_changed_and_set_again(library, today, tmp_path):
    day = ["--date", today.isoformat()]
    ok("report", *day, "--text", tmp_path / "r.md", library=library.folder)
    text = (tmp_path / "r.md").read_text()
    assert "[picture: weeks]" in text and "[picture: capacity]" in text
    changed = text.replace(
        "## One question", "## From me\n\nWell <b>run</b> & *kept*.\n\n- one\n- two\n\n## One question"
    )
    (tmp_path / "r.md").write_text(changed)
    ok(
        "report",
        *day,
        "--from",
        tmp_path / "r.md",
        "--html",
        tmp_path / "r.html",
        "--pdf",
        tmp_path / "r.pdf",
        library=library.folder,
    )
    html = (tmp_path / "r.html").read_text()
    assert "<p>Well &lt;b&gt;run&lt;/b&gt; &amp; kept.</p>" in html and "<li>two</li>" in html
    assert html.count("<svg") == 2 and "[picture" not in html and "<script" not in html
    assert (tmp_path / "r.pdf").read_bytes().startswith(b"%PDF")
    (tmp_path / "bad.md").write_bytes(b"\xff\xfe\x00")
    assert "is no text" in footwork("report", "--from", tmp_path / "bad.md", library=library.folder).stderr
    assert footwork("report", "--from", tmp_path / "none.md", library=library.folder).returncode == 2
    assert "one of" in footwork("report", "--week", "--season", library=library.folder).stderr


def test_markdown_means_what_the_report_said(library, today):
    made = library.report("season", today)
    blocks = letter.parsed(as_markdown(made))
    tables = [b["rows"] for b in blocks if b["kind"] == "table"]
    with_rows = [p for p in made.parts if p.rows]
    assert [t[1:] for t in tables] == [[[" ".join(c.split()) for c in row] for row in p.rows] for p in with_rows]
    said = [b["text"] for b in blocks if b["kind"] == "paragraph"]
    assert said == [" ".join(s.split()) for p in made.parts for s in p.sentences]
    assert [b["name"] for b in blocks if b["kind"] == "picture"] == ["weeks", "capacity", "curve"]
    assert set(pictures(made)) == {"weeks", "capacity", "curve"}
    with pytest.raises(UsageError, match="up to 200000"):
        letter.parsed("x" * 200_001)


def test_a_changed_report_is_set_as_it_was_written(library, today):
    drawn = pictures(library.report("week", today))
    html = letter.as_html("# A week\n\n1. first\n2. then\n\n- or\n\n[picture: weeks]\n", drawn)
    assert "<ol><li>first</li><li>then</li></ol>" in html and "<ul><li>or</li></ul>" in html and "<svg" in html
    assert letter.on_paper("# A week\n\n1. first\n2. then\n", drawn).startswith(b"%PDF")
    for made in (letter.as_html, letter.on_paper):
        with pytest.raises(UsageError, match=r"no report has a \[picture: cat\]: there are \[picture: weeks\]"):
            made("# A week\n\n[picture: cat]\n", drawn)
    assert "<svg" not in letter.as_html("# A week\n\n[picture: weeks]\n", {})  # nothing to show is no fault


def test_pictures_hold_their_numbers(library, today):
    made = pictures(library.report("week", today))
    assert made["weeks"].count("<rect") >= 5 and "CP-minutes" in made["weeks"]
    assert "<polygon" in made["capacity"]
    with Library.open(library.folder.parent / "new") as fresh:
        fresh.enter_run("2026-04-01T08:00", "30:00", "5km")
        only = fresh.report("week", dt.date(2026, 4, 1))
        assert "capacity" not in pictures(only) and "not known" in part(only, "How sure this is").sentences[0]
    assert made["weeks"].startswith("<svg xmlns=")


FORESEEN = {"p10": 2400.0, "p50": 2534.0, "p90": 2724.0}


@pytest.mark.parametrize(
    ("took", "faster", "well"),
    [
        (
            2489.0,
            0.24,
            "The race on Sun 8 Nov was 0:45 quicker than the middle of what was foreseen; 24 of 100 "
            "days as they were foreseen are as quick.",
        ),
        (
            2200.0,
            0.001,
            "The race on Sun 8 Nov was 5:34 quicker than the middle of what was foreseen; 1 of 100 "
            "days as they were foreseen are as quick.",
        ),
        (2500.0, 0.26, ""),  # one day in four is as quick: no more than chance
    ],
)
def test_a_race_is_held_against_what_was_foreseen(took, faster, well):
    race = {"run": 72, "date": "2026-11-08", "distance_m": 9890.0, "time_s": took, "predicted": FORESEEN}
    race |= {"faster_days": faster, "error_share": took / 2534 - 1, "reason": None}
    assert raced_well(race) == well
    assert raced({**race, "time_s": 2489.0}, False) == (
        "Race on Sun 8 Nov: 9.89 km in 41:29; by what was known the day before 42:14 was the middle, 40:00 to "
        "45:24 on eight of ten days."
    )
    unknown = {**race, "predicted": None, "reason": "it was run after a ride of unknown length"}
    assert raced(unknown, False).endswith("; what was known the day before told no time.")
    assert raced_well(unknown) == ""


def test_a_race_stands_in_its_weeks_report_and_the_question_is_of_it(library, today):
    run = next(r for r in library.runs() if r.duration_s > 1500 and "test" not in r.marks)
    day = run.local.date()
    before = library.report("week", day)
    assert "Race on" not in str(part(before, "Asked and run").sentences) and "the race" not in before.question
    library.mark(run.id, "race")
    made = library.report("week", day)
    foreseen = next(r for r in library.predictions().races if r["run"] == run.id)
    assert part(made, "Asked and run").sentences[-1] == raced(foreseen, False)
    assert made.question == f"Where was the race on {day_name(str(day))} hardest, and was anything left at its end?"
    assert "Race on" not in str(library.report("week", day - 7 * DAY).parts)
    block = [library.report("block", day + after * DAY) for after in (7, 8)]
    assert ["the race on" in b.question for b in block] == [True, False]
    assert all("Race on" in str(part(b, "Asked and run").sentences) for b in block)
