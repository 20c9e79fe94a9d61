"""GPX, CSV and archives."""

import gzip
import io
import zipfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from footwork import formats
from footwork.errors import FootworkError, NotARecording, UnreadableFile
from footwork.formats import archive
from footwork.signals import Course

GPX = (
    '<?xml version="1.0"?><gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1" '
    'xmlns:x="urn:a" xmlns:y="urn:b">{}</gpx>'
)
POINT = '<trkpt lat="{lat:.6f}" lon="-21.7"><ele>{e}</ele><time>2026-04-01T08:{m:02d}:{s:02d}Z</time>{ext}</trkpt>'


def track(count=120, kind="", ext="", untimed=False) -> bytes:
    points = "".join(
        POINT.format(lat=46 + i * 3e-5, e=10 + i * 0.1, m=i // 60, s=i % 60, ext=ext.format(i=i)) for i in range(count)
    )
    if untimed:
        import re

        points = re.sub(r"<time>.*?</time>", "", points)
    type_ = f"<type>{kind}</type>" if kind else ""
    return GPX.format(
        f"<metadata><time>2026-04-01T08:00:00Z</time></metadata><trk>{type_}<trkseg>{points}</trkseg></trk>"
    ).encode()


def test_timed_gpx_without_a_type_is_a_run_with_extensions_of_any_namespace():
    ext = (
        "<extensions><x:Outer><x:hr>150</x:hr><y:cad>84</y:cad></x:Outer>"
        "<y:PowerInWatts>{i}</y:PowerInWatts><x:atemp>12</x:atemp></extensions>"
    )
    (run,) = formats.read(track(ext=ext), "a.gpx")
    assert run.is_run and run.dated
    assert run.columns["heart_rate"][0] == 150
    assert run.columns["cadence"][0] == 168
    assert run.columns["power"][7] == 7
    assert run.columns["temperature"][0] == 12


def test_gpx_without_times_is_a_course_whatever_its_metadata_says():
    course = formats.read(track(untimed=True), "a.gpx")
    assert isinstance(course, Course)
    assert course.distance[-1] == pytest.approx(119 * 3e-5 * 111195, rel=0.01)


def test_gpx_of_another_sport():
    (ride,) = formats.read(track(kind="Cycling"), "a.gpx")
    assert ride.sport == "cycling"


def test_cut_gpx_is_recovered():
    data = track()
    (run,) = formats.read(data[: len(data) // 2], "a.gpx")
    assert 30 < len(run.columns["time"]) < 80
    assert run.lost


def test_entities_are_refused():
    bomb = b'<?xml version="1.0"?><!DOCTYPE gpx [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;">]><gpx>&b;</gpx>'
    with pytest.raises(UnreadableFile, match="entities"):
        formats.read(bomb, "a.gpx")


def csv(text: str, name="a.csv"):
    return formats.read(text.encode(), name)[0]


def test_csv_with_iso_time_and_commas():
    run = csv(
        "time,power,heart_rate\n" + "".join(f"2026-04-01T08:00:{i:02d}+02:00,{200 + i},{140}\n" for i in range(30))
    )
    assert run.dated and run.utc_offset_minutes == 120
    assert run.columns["power"][3] == 203


def test_csv_with_semicolons_decimal_commas_and_units():
    run = csv(
        "Time;Speed [km/h];Distance (km)\n"
        + "".join(f"{i};10,8;{i * 0.003:.3f}\n".replace(".", ",") for i in range(30))
    )
    assert not run.dated
    np.testing.assert_allclose(run.columns["speed"], 3.0)
    np.testing.assert_allclose(run.columns["distance"][10], 30.0)


def test_csv_with_pace_and_clock_time():
    run = csv("time\tpace\n" + "".join(f"0:{i:02d}\t5:00\n" for i in range(30)))
    np.testing.assert_allclose(run.columns["speed"], 1000 / 300)


def test_csv_decimal_pace():
    run = csv("time,pace\n" + "".join(f"{i},4.5\n" for i in range(30)))
    np.testing.assert_allclose(run.columns["speed"], 1000 / 270)


@pytest.mark.parametrize(
    ("header", "called"),
    [
        ("Zeit;Leistung;Puls", "Zeit, Leistung, Puls"),
        ("name,amount", "name, amount"),
        ("Geschwindigkeit [km/h]," + "x" * 31, "Geschwindigkeit .km/h., x{29}…"),
        (",,", "no named columns"),
    ],
)
def test_csv_of_something_else_is_skipped_and_says_what_was_found(header, called):
    with pytest.raises(NotARecording, match=f"of {called}: a recording has the column time and one of power"):
        csv(f"{header}\n0;1;2\n")


def test_csv_rows_without_time_are_counted_as_lost():
    run = csv("time,power\n0,200\nx,210\n2,220\n")
    assert run.lost == ["1 rows without a readable time"]


@settings(max_examples=80, deadline=None)
@given(st.binary(max_size=400), st.sampled_from(["a.csv", "a.gpx", "a.fit", "a.txt", "a"]))
def test_any_bytes_are_read_or_refused_with_a_sentence(data, name):
    try:
        formats.read(data, name)
    except FootworkError as error:
        assert str(error)


def test_empty_file():
    with pytest.raises(NotARecording, match="empty"):
        formats.read(b"", "a.fit")


def zipped(files: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as made:
        for name, data in files.items():
            made.writestr(name, data)
    return out.getvalue()


def test_archives_open_two_deep_and_member_paths_are_ignored(tmp_path: Path):
    path = tmp_path / "a.zip"
    path.write_bytes(zipped({"../../evil/run.gpx.gz": gzip.compress(track())}))
    ((name, data),) = list(archive.unpack(path, archive.members(path)[0]))
    assert name == "run.gpx" and data == track()


def test_archives_nested_deeper_are_refused(tmp_path: Path):
    path = tmp_path / "a.gz"
    path.write_bytes(gzip.compress(gzip.compress(gzip.compress(b"x"))))
    with pytest.raises(UnreadableFile, match="archive inside"):
        list(archive.unpack(path))


def test_a_bomb_is_not_unpacked(tmp_path: Path, monkeypatch):
    monkeypatch.setattr(archive, "MAX_FILE", 2**20)
    path = tmp_path / "a.gz"
    path.write_bytes(gzip.compress(b"\x00" * (3 * 2**20)))
    with pytest.raises(UnreadableFile, match="more than 1 MiB"):
        list(archive.unpack(path))


def test_a_damaged_archive_says_so(tmp_path: Path):
    path = tmp_path / "a.gz"
    path.write_bytes(gzip.compress(b"hello" * 1000)[:-20])
    with pytest.raises(UnreadableFile, match="damaged"):
        list(archive.unpack(path))


def test_the_members_of_a_zip_together_have_a_limit(tmp_path: Path, monkeypatch):
    monkeypatch.setattr(archive, "MAX_TOTAL", 5000)
    path = tmp_path / "a.zip"
    path.write_bytes(zipped({f"{i}.csv": b"time,power\n" * 100 for i in range(6)}))
    with pytest.raises(UnreadableFile, match="more than"):
        archive.members(path)


def test_an_lzma_member_that_is_damaged_says_so(tmp_path: Path):
    path = tmp_path / "a.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_LZMA) as made:
        made.writestr("a.csv", b"time,power\n" + b"1,2\n" * 500)
    data = bytearray(path.read_bytes())
    for at in range(60, 90):
        data[at] ^= 0xFF
    path.write_bytes(bytes(data))
    with pytest.raises(UnreadableFile):
        list(archive.unpack(path, "a.csv"))


def test_a_header_of_spaces_is_read_in_linear_time():  # by a pattern that backtracked it took hours
    with pytest.raises(NotARecording):
        csv("time," + " " * 100_000 + "x\n1,2\n")
