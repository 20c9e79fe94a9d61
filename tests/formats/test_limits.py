"""No file takes much memory or time, whatever it claims to be; a sample of what `make harden` tries."""

import warnings

import numpy as np
import pytest

from footwork import formats
from footwork.analysis import cleaning
from footwork.errors import NotARecording, UnreadableFile
from footwork.formats import delimited, fit, fit_structure, gpx
from footwork.history.recordings import digesting
from tests import fitfile as f
from tests.harden import bombs, mutants


@pytest.mark.parametrize("name", ["four million rows, gzipped to 25 KB", "a line of 100 MB", "five million points"])
def test_a_file_of_more_than_any_run_is_refused_at_once(tmp_path, name):
    took, most, said = bombs.measured(name, tmp_path)
    assert said == "refused" and most < bombs.MUCH_MB
    assert took < 30  # a busy machine; benchmarks measure


def test_as_many_rows_and_points_as_a_run_may_have_are_read(monkeypatch):
    monkeypatch.setattr(delimited, "MOST_ROWS", 50)
    monkeypatch.setattr(delimited, "ROWS_AT_ONCE", 20)
    rows = [f"2026-01-01T08:00:{k:02}Z,{200 + k}" for k in range(50)]
    (run,) = formats.read("\n".join(["time,power", *rows]).encode(), "a.csv")
    assert list(run.columns["power"]) == [200 + k for k in range(50)]
    with pytest.raises(NotARecording, match="rows"):
        formats.read("\n".join(["time,power", *rows, rows[-1]]).encode(), "a.csv")
    monkeypatch.setattr(gpx, "MOST_POINTS", 3)
    point = '<trkpt lat="47" lon="8"><time>2026-01-01T08:00:0{}Z</time></trkpt>'
    text = "<gpx><trk><trkseg>{}</trkseg></trk></gpx>"
    (run,) = formats.read(text.format("".join(point.format(k) for k in range(3))).encode(), "a.gpx")
    assert len(run.columns["time"]) == 3
    with pytest.raises(NotARecording, match="points"):
        formats.read(text.format("".join(point.format(k) for k in range(4))).encode(), "a.gpx")
    monkeypatch.setattr(fit_structure, "MOST_MESSAGES", 40)
    with pytest.raises(UnreadableFile, match="more messages"):
        formats.read(f.wrap(f.run(60)), "a.fit")


def test_a_long_recording_is_read_however_its_maker_writes(monkeypatch):
    monkeypatch.setattr(fit_structure, "MOST_BESIDE", 30)
    (run,) = formats.read(f.wrap(f.run(100)), "a.fit")  # each record with a definition of its own
    assert len(run.columns["time"]) == 100
    monkeypatch.setattr(fit, "MOST_SLOWLY", 60)
    own = f.developer_id() + f.field_description(2, "power", "W", native=7)
    body = f.file_id() + own
    for k in range(100):
        body += f.record(f.START + k, power=None, developer=[(2, 0, "H", 250)])
    (run,) = formats.read(f.wrap(body + f.session(f.START, 100)), "a.fit")
    assert len(run.columns["time"]) == 60 and any("everything after record 60" in text for text in run.lost)


def test_a_header_may_stand_on_two_lines():
    text = '"time","heart rate\n[bpm]",power\n2026-01-01T08:00:00Z,150,200\n2026-01-01T08:00:01Z,151,201\n'
    (run,) = formats.read(text.encode(), "a.csv")
    assert list(run.columns["heart_rate"]) == [150, 151] and list(run.columns["power"]) == [200, 201]


def test_samples_with_an_impossible_time_are_left_out_of_a_dated_recording():
    rows = [f"2026-01-01T08:{k // 60:02}:{k % 60:02}Z,200" for k in range(100)]
    for wrong in ("1970-01-01T00:00:40Z", "9999-12-31T23:59:59Z", "1e300"):
        text = "\n".join(["time,power", *rows[:50], f"{wrong},200", *rows[50:]])
        (run,) = digesting.read_dated(text.encode(), "a.csv", None)
        assert run.end - run.start == 99 and run.lost[-1] == "1 samples with an impossible time"


def test_a_recording_of_a_few_seconds_is_cleaned():
    for seconds in (2, 3, 4, 5, 6):
        rows = [f"2026-01-01T08:00:{k:02}Z,47.{k:04},8.0" for k in range(seconds)]
        (run,) = formats.read("\n".join(["time,latitude,longitude", *rows]).encode(), "a.csv")
        signals, _ = cleaning.clean(run)
        assert len(signals) == seconds


def test_a_single_beat_warns_of_nothing():
    rows = [f"2026-01-01T08:00:{k:02}Z,3.1,{150 if k == 30 else ''}" for k in range(60)]
    (run,) = formats.read("\n".join(["time,speed,heart_rate", *rows]).encode(), "a.csv")
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        signals, _ = cleaning.clean(run)
    assert np.isfinite(signals["heart_rate"]).sum() == 1


def test_nothing_but_our_own_errors_leaves_a_reader(real_run):
    data = f.wrap(f.run(300))
    seeds = [(data, "a.fit"), (real_run.read_bytes(), "a.fit"), *mutants.texts_of(real_run.read_bytes())]
    found = mutants.attack(seeds, 2 * mutants.CHUNK, seed=1)
    assert found.faults == [] and found.read > 100 and found.refused > 100
