"""Weather told by hand, as METAR, from tables; the diary."""

import datetime as dt

import numpy as np
import pytest

from footwork.api import Library
from footwork.errors import FootworkError, UnreadableFile, UsageError
from footwork.formats import metar
from tests.conftest import RUNNER, fit_of, simulate

DAY = dt.date(2026, 4, 6)


@pytest.fixture
def library(tmp_path):
    files = tmp_path / "in"
    files.mkdir()
    for i in range(3):
        (files / f"{i}.fit").write_bytes(fit_of(simulate(DAY + dt.timedelta(days=i), [(700, 0.7)], seed=i)))
    with Library.open(tmp_path / "library") as opened:
        opened.athlete.set(DAY, mass=RUNNER.mass)
        opened.add([files])
        yield opened


def at(library, run, minutes=6.0):
    row = library.run(run).row
    return dt.datetime.fromisoformat(row.start) + dt.timedelta(minutes=minutes)


def test_typed_weather_is_kept_replaced_and_undone(library):
    library.set_weather(1, temperature_c=18.0, wind_mps=4.0, wind_from_deg=240.0)
    assert library.run(1).row.weather["wind_from_deg"] == 240
    library.set_weather(1, temperature_c=21.0)
    assert library.run(1).row.weather == {
        "temperature_c": 21.0,
        "wind_mps": 4.0,
        "wind_from_deg": 240.0,
        "source": "typed",
    }
    library.undo(library.edits()[0]["id"])
    assert library.run(1).row.weather["temperature_c"] == 18
    for wrong in ({"temperature_c": 80.0}, {"humidity": 55.0}, {"wind_mps": 99.0}, {}):
        with pytest.raises(UsageError):
            library.set_weather(1, **wrong)


def test_a_metar_line_is_matched_by_day_and_hour(library):
    when = at(library, 2)
    line = f"METAR XXXX {when:%d%H%M}Z 24010G18KT 9999 FEW030 18/07 Q1015 NOSIG"
    library.set_weather(2, metar=line)
    told = library.run(2).row.weather
    assert told["temperature_c"] == 18 and told["wind_from_deg"] == 240 and told["source"] == "METAR"
    assert told["wind_mps"] == pytest.approx(10 * 1852 / 3600)
    assert told["pressure_pa"] == 101_500
    with pytest.raises(UsageError, match="nearest"):
        library.set_weather(1, metar=line)


def test_metar_code():
    # Groups as laid down in WMO-No. 306, FM 15 METAR; the report is invented.
    seen = metar.parse("METAR XXXX 141820Z VRB02MPS CAVOK M03/M07 A2992 RMK AO2")
    assert (seen.day, seen.hour, seen.minute) == (14, 18, 20)
    assert seen.wind == 2 and seen.wind_from is None and seen.temperature == -3
    assert seen.pressure == pytest.approx(101_320, abs=15)  # 29.92 inHg is 1013.2 hPa, ICAO standard atmosphere
    # Dew point 10 °C at 20 °C: relative humidity 52.5 %, by psychrometric tables (from memory).
    assert metar.relative_humidity(20, 10) == pytest.approx(0.525, abs=0.01)
    for wrong in ("hello", "XXXX 991820Z 24010KT 18/07", "XXXX 141820Z NIL"):
        with pytest.raises(UsageError):
            metar.parse(wrong)


def test_a_table_gives_each_run_the_nearest_report_in_time_and_place(library, tmp_path):
    signals = library.signals(1)
    here = float(signals["latitude"][0]), float(signals["longitude"][0])
    rows = ["time,temperature,humidity,wind speed,wind direction,pressure,latitude,longitude"]
    for run, celsius in ((1, 11), (2, 12)):
        rows += [
            f"{at(library, run, 20):%Y-%m-%dT%H:%M:%SZ},{celsius},70,3,90,1013,{here[0] + 0.1:.4f},{here[1]:.4f}",
            f"{at(library, run, 60):%Y-%m-%dT%H:%M:%SZ},30,70,3,90,1013,{here[0] + 0.1:.4f},{here[1]:.4f}",
            f"{at(library, run, 6):%Y-%m-%dT%H:%M:%SZ},40,70,3,90,1013,{here[0] + 5:.4f},{here[1]:.4f}",
        ]
    path = tmp_path / "weather.csv"
    path.write_text("\n".join(rows))
    told = library.weather_from(path)
    assert told == {"runs": [1, 2], "reports": 6, "unmatched": 4}
    assert library.run(1).row.weather["temperature_c"] == 11
    assert library.run(2).row.weather | {"source": ""} == {
        "temperature_c": 12.0,
        "humidity": 0.7,
        "wind_mps": 3.0,
        "wind_from_deg": 90.0,
        "pressure_pa": 101_300.0,
        "source": "",
    }
    assert library.run(3).row.weather is None


def test_dated_metar_lines_for_many_runs(library, tmp_path):
    lines = [
        f"{at(library, r):%Y-%m-%d %H:%M} METAR XXXX {at(library, r):%d%H%M}Z 00000KT 1{r}/05 Q1010" for r in (1, 3)
    ]
    (tmp_path / "m.txt").write_text("\n".join(lines))
    assert library.weather_from(tmp_path / "m.txt")["runs"] == [1, 3]
    assert library.run(3).row.weather["temperature_c"] == 13


@pytest.mark.parametrize(
    "text",
    [
        "",
        "hello",
        "time,mood\n2026-04-06T08:00:00Z,good",
        "time,temperature\n2026-04-06T08:00:00Z,hot",
        "time,temperature\nyesterday,12",
        "time,temperature\n2026-04-06T08:00:00Z,99",
        "2026-04-06 METAR XXXX 071800Z 00000KT 12/05",
        "2026-04-06 METAR nothing here",
    ],
)
def test_a_bad_weather_file_is_one_sentence_and_keeps_nothing(library, tmp_path, text):
    (tmp_path / "w.csv").write_text(text)
    with pytest.raises(FootworkError) as found:
        library.weather_from(tmp_path / "w.csv")
    assert isinstance(found.value, UnreadableFile) and "w.csv" in str(found.value)
    assert library.edits() == []


def test_the_diary_of_runs_and_days(library):
    library.tell(1, exertion=7, note="  windy \n on the bridge ")
    library.tell(date=DAY, sleep=7.5, resting_heart_rate=47, soreness=2)
    library.tell(date=DAY, sleep=8)
    library.tell(date=DAY + dt.timedelta(days=1), illness="cold")
    assert library.diary() == [
        {"date": "2026-04-07", "run": None, "illness": "cold"},
        {"date": "2026-04-06", "run": 1, "exertion": 7.0, "note": "windy on the bridge"},
        {"date": "2026-04-06", "run": None, "sleep": 8.0, "resting_heart_rate": 47.0, "soreness": 2.0},
    ]
    library.tell(date=DAY, sleep=None)
    assert "sleep" not in library.diary(since=DAY, until=DAY)[1]
    with pytest.raises(UsageError, match="not of both"):
        library.tell(1, DAY, exertion=3)
    with pytest.raises(UsageError, match="future"):
        library.tell(date=dt.date.today() + dt.timedelta(days=2), exertion=3)


def test_minutes_know_which_way_they_went(library):
    found = library.signals(1)
    from footwork.analysis.summary import BLOCK_COLUMNS, blocks

    made = blocks(found)
    east, north = (made[:, BLOCK_COLUMNS.index(n)] for n in ("east", "north"))
    length = np.hypot(east, north)
    assert np.nanmax(length) <= 1.0001 and np.nanmedian(length) > 0.5
    turned = np.arctan2(
        np.diff(found["longitude"]) * np.cos(np.radians(found["latitude"][0])), np.diff(found["latitude"])
    )
    assert np.cos(np.arctan2(east[2], north[2]) - np.median(turned[120:180])) > 0.8
