"""Days that files tell, in the diary: never over a hand entry, the last file of a day holds."""

import datetime as dt

import pytest

from footwork import Library
from footwork.errors import UnreadableFile, UsageError
from tests.formats.test_wellness import DAY, night, resting, wellness_file


@pytest.fixture
def library(tmp_path):
    with Library.open(tmp_path / "library") as made:
        yield made


def put(tmp_path, name, data):
    (tmp_path / "files").mkdir(exist_ok=True)
    (tmp_path / "files" / name).write_bytes(data)
    return tmp_path / "files"


def test_wellness_files_give_the_diary_and_a_second_time_nothing(library, tmp_path):
    put(tmp_path, "a.fit", wellness_file(32, resting(11, 51, 49), resting(22, 51, 47)))
    folder = put(tmp_path, "b.fit", night((1.0, 2), (1.5, 1), (6.0, 2)))
    report = library.add([folder])
    assert [e["reason"] for e in report["told"]] == [f"resting heart rate of {DAY}", f"sleep of {DAY}"]
    assert report["skipped"] == report["failed"] == []
    row = library.diary()[0]
    assert (row["date"], row["resting_heart_rate"], row["sleep"]) == (DAY.isoformat(), 47.0, 6.5)
    assert row["from_file"] == ["resting_heart_rate", "sleep"]
    again = library.add([folder])
    assert again["told"] == [] and len(again["duplicates"]) == 2 and library.diary() == [row]


def test_a_hand_entry_stands_over_a_file_whichever_came_first(library, tmp_path):
    library.tell(date=DAY, resting_heart_rate=52)
    library.add([put(tmp_path, "a.fit", wellness_file(32, resting(22, 51, 47)))])
    assert library.diary()[0]["resting_heart_rate"] == 52.0 and "from_file" not in library.diary()[0]
    library.tell(date=DAY, resting_heart_rate=None)
    assert library.diary()[0]["resting_heart_rate"] == 47.0  # taken back, the file's value shows again


def test_a_value_of_a_file_can_be_taken_away_and_said_otherwise(library, tmp_path):
    library.add([put(tmp_path, "a.fit", wellness_file(32, resting(22, 51, 47)))])
    hid = library.tell(date=DAY, resting_heart_rate=None)
    assert "resting_heart_rate" not in (library.diary() or [{}])[0]
    library.tell(date=DAY, resting_heart_rate=50)
    assert library.diary()[0]["resting_heart_rate"] == 50.0
    library.tell(date=DAY, resting_heart_rate=None)
    assert library.diary()[0]["resting_heart_rate"] == 47.0  # that took the 50 back
    library.tell(date=DAY, resting_heart_rate=None)
    assert "resting_heart_rate" not in (library.diary() or [{}])[0] and len(hid) == 1


def test_a_corrected_table_counts_and_the_same_again_does_not(library, tmp_path):
    path, columns = tmp_path / "days.csv", {"date": "Day", "sleep": "Hours"}
    for hours, new in (("3", 1), ("7", 1), ("7", 0), ("6", 1)):
        path.write_text(f"Day;Hours\n2026-05-01;{hours}\n")
        assert library.diary_from(path, columns) == new
        assert library.diary()[0]["sleep"] == float(hours)


def test_a_later_file_of_the_same_day_revises_an_earlier_one_in_any_order(library, tmp_path):
    library.add([put(tmp_path, "b.fit", wellness_file(32, resting(22, 51, 46)))])
    library.add([put(tmp_path, "a.fit", wellness_file(32, resting(12, 51, 49)))])
    assert library.diary()[0]["resting_heart_rate"] == 46.0


def test_days_come_from_a_csv_file_by_its_columns(library, tmp_path):
    path = tmp_path / "days.csv"
    path.write_text("Day;Hours;Pulse\n2026-05-01;7:30;48\n2026-05-02;;50\n")
    assert library.diary_from(path, {"date": "Day", "sleep": "Hours", "resting_heart_rate": "Pulse"}) == 3
    rows = {r["date"]: r for r in library.diary()}
    assert rows["2026-05-01"]["sleep"] == 7.5 and "sleep" not in rows["2026-05-02"]
    assert library.diary_from(path, {"date": "Day", "sleep": "Hours"}) == 0


@pytest.mark.parametrize(
    "text, columns, words",
    [
        ("Day;Hours\n2026-05-01;7\n", {"date": "Day", "sleep": "Nap"}, "no column 'Nap'"),
        ("Day;Hours\n1.5.2026;7\n", {"date": "Day", "sleep": "Hours"}, "row 2"),
        ("Day;Hours\n2026-05-01;70\n", {"date": "Day", "sleep": "Hours"}, "row 2: sleep is a number from 0 to 24"),
        ("Day;Hours\n2026-05-01;long\n", {"date": "Day", "sleep": "Hours"}, "row 2: sleep is a number"),
        (
            "Day;Hours\n2026-05-01;7\n2026-05-02;x\n1.5.2026;7\n" + "".join(f"2026-05-0{k};99\n" for k in range(3, 8)),
            {"date": "Day", "sleep": "Hours"},
            "row 3: sleep .*, or hours as 7:35; row 4 holds no date .*; row 5: .*; row 7: .*; and 2 more$",
        ),
        (
            "Day;Hours\n2026-05-01;7\n2026-05-01;8\n",
            {"date": "Day", "sleep": "Hours"},
            "row 3 tells sleep of 2026-05-01 a second time",
        ),
        ("Day;Hours\n2026-05-01;7\n", {"date": "Day"}, "at least one value"),
        ("Day;Hours\n2026-05-01;7\n", {"date": "Day", "mood": "Hours"}, "no field"),
    ],
)
def test_a_csv_that_cannot_be_gets_one_sentence_and_nothing_is_written(library, tmp_path, text, columns, words):
    (tmp_path / "days.csv").write_text(text)
    with pytest.raises(UnreadableFile, match=words):
        library.diary_from(tmp_path / "days.csv", columns)
    assert library.diary() == []


def test_a_csv_of_days_to_come_is_refused(library, tmp_path):
    day = dt.date.today() + dt.timedelta(days=3)
    (tmp_path / "days.csv").write_text(f"Day;Hours\n{day};7\n")
    with pytest.raises(UsageError, match="future"):
        library.diary_from(tmp_path / "days.csv", {"date": "Day", "sleep": "Hours"})
