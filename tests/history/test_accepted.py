"""Accepted critical power: dated, per scale, in force for domains and load; the proposal stays beside it."""

import datetime as dt
import json
import shutil
import sqlite3

import pytest

from footwork.api import Library
from footwork.errors import UsageError
from footwork.store import seal

DAY = dt.date(2026, 4, 10)


def test_it_rules_domains_and_load_from_its_day_on(library):
    before = library.capacity()
    late, early = library.runs()[0].id, library.runs()[-1].id
    loads = {i: library.run_load(i)["cp_minutes"] for i in (late, early)}
    library.accept(0.9 * before.critical_power.value, DAY)
    after = library.capacity()
    assert after.critical_power.value == before.critical_power.value  # both are shown
    assert after.accepted == {"date": DAY, "critical_power_w": 0.9 * before.critical_power.value}
    assert after.domains["heavy_severe"]["power"].value == pytest.approx(0.9 * before.critical_power.value, rel=1e-4)
    assert library.run_load(late)["cp_minutes"] > 1.1 * loads[late]
    assert library.run_load(early)["cp_minutes"] == pytest.approx(loads[early])
    assert library.capacity(date=DAY - dt.timedelta(days=1)).accepted is None
    span = library.load()
    assert "else today's proposal" in span["critical_power"]


def test_a_day_holds_one_and_it_can_be_taken_back(library):
    library.accept(250, DAY)
    library.accept(260, DAY)
    assert library.capacity().accepted["critical_power_w"] == 260
    assert library.withdraw(DAY) == 1
    assert library.capacity().accepted is None


@pytest.mark.parametrize(("watts", "day"), [(20, DAY), (900, DAY), (float("nan"), DAY), (250, dt.date(2999, 1, 1))])
def test_what_cannot_be_accepted_changes_nothing(library, watts, day):
    with pytest.raises(UsageError):
        library.accept(watts, day)
    assert library.capacity().accepted is None


def test_a_proposal_beyond_its_interval_is_put_on_the_today_page(library):
    library.accept(200, DAY)
    assert any("accepted" in item["what"] for item in library.today()["due"])


def test_the_history_holds_every_day_and_is_json(library):
    found = library.history()
    json.dumps(found, allow_nan=False)
    days = [row["date"] for row in found["history"]]
    assert days == sorted(set(days)) and days[-1] == str(found["date"])
    last = found["history"][-1]
    assert set(last) == {"date", "critical_power", "w_prime", "evidence", "early"}
    assert last["critical_power"]["value"] == pytest.approx(found["critical_power"]["value"], rel=0.01)
    assert found["moved"] and found["tests"][0]["half_width_after_w"] <= found["tests"][-1]["half_width_after_w"]


def test_a_library_of_the_first_version_is_migrated(library, tmp_path):
    before = [r.to_json() for r in library.runs()]
    library.close()
    path = library.folder / "library.sqlite"
    with sqlite3.connect(path) as raw:
        raw.execute("DROP TABLE accepted")
        raw.execute("DROP TABLE entry")
        raw.execute("ALTER TABLE file DROP COLUMN replaced_by")
        raw.execute("CREATE TABLE mark (id INTEGER PRIMARY KEY, recording_id INTEGER NOT NULL, name TEXT NOT NULL)")
        for row in before:
            if row["marks"]:
                raw.execute(
                    "INSERT INTO mark (recording_id, name) SELECT id, 'test' FROM recording WHERE run_id=?",
                    (row["id"],),
                )
        raw.execute("UPDATE alembic_version SET version_num='0001'")
        raw.execute("PRAGMA user_version=1")
    raw.close()
    seal.lift(library.folder)  # an older version left none
    with Library.open(library.folder) as opened:
        assert [r.to_json() for r in opened.runs()] == before
        opened.accept(260, DAY)


def test_today_says_which_test_would_tell_most(season_library, tmp_path):
    season_library.close()
    shutil.copytree(season_library.folder, tmp_path / "copy")
    with Library.open(tmp_path / "copy") as library:
        for row in library.runs():
            library.mark(row.id, "test", remove=True)
        due = next(d for d in library.today()["due"] if "test" in d["what"].lower())
        tests = library.history()["tests"]
        if tests:
            assert f"a test of {tests[0]['test']} would narrow it" in due["why"]
        else:
            assert "narrow" not in due["why"]
        library.tell(date=dt.date.fromisoformat(library.runs()[0].date[:10]), illness="flu")
        due = library.today()["due"]
        assert not any("test" in d["what"].lower() for d in due) and any("physician" in d["why"] for d in due)


def test_accepted_weeks_after_the_newest_run_it_is_of_the_scale_that_was_in_use(season_library, tmp_path):
    season_library.close()
    shutil.copytree(season_library.folder, tmp_path / "copy")
    with Library.open(tmp_path / "copy") as library:
        assert library.accept(260.0, dt.date.today())["scale"] == library.capacity().scale
