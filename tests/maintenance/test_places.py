"""Nothing that leaves a library holds a position near a private place; an anonymous export tells nobody who it is."""

import io
import json
import shlex
import zipfile

import numpy as np
import polars as pl
import pytest

from footwork import formats
from footwork.errors import UsageError
from footwork.history import private_places
from footwork.maintenance import encryption, export
from footwork.quantities import plain
from tests.positions import leaked
from tests.program import footwork
from tests.tools.compare_answers import EACH_RUN, QUESTIONS

WORDS = "four plain words here"
# What holds positions or is made of recordings, beside the questions that a redesign is compared by.
MORE = """
race --course 1 --distance 3km
race --course course.gpx
session preview "20 min easy"
report --week
report --season
season show
week
today
signs
comment
privacy
"""


@pytest.fixture
def homely(library, tmp_path):
    """The season with a private place where its runs begin, and a course that passes it."""
    signals = library.signals(1)
    known = np.isfinite(signals.get("latitude"))
    place = {"latitude": signals["latitude"][known][0], "longitude": signals["longitude"][known][0]}
    library.add_place("home", place["latitude"], place["longitude"], 250)
    points = zip(signals["latitude"][known][::20], signals["longitude"][known][::20], strict=True)
    track = "".join(f'<trkpt lat="{a:.6f}" lon="{b:.6f}"><ele>20</ele></trkpt>' for a, b in points)
    (tmp_path / "course.gpx").write_text(f"<gpx><trk><trkseg>{track}</trkseg></trk></gpx>")
    return library


def test_the_search_finds_a_position(homely):
    place = homely.places()[0]
    text = json.dumps({"lat": place["latitude"], "lon": place["longitude"] + 1e-4})
    assert leaked(text, homely.places()) and not leaked(json.dumps([place["latitude"] + 0.01, 0.0]), homely.places())
    assert leaked((homely.folder.parent / "course.gpx").read_text(), homely.places())


def test_no_answer_holds_a_position_near_a_private_place(homely, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    questions = [q for q in (QUESTIONS + MORE).splitlines() if q and not q.startswith("places")]
    questions += [form.format(n=1) for form in EACH_RUN]
    answered = 0
    for question in questions:
        done = footwork(*shlex.split(question), "--json", library=homely.folder)  # which holds all that is said
        answered += done.returncode == 0
        assert leaked(done.stdout + done.stderr, homely.places()) == [], question
    assert answered > 50


def test_a_race_shows_the_way_without_what_is_private(homely, tmp_path):
    plan = homely.race(course=tmp_path / "course.gpx", flat=True)
    track = plan.course["track"]
    hidden = [p is None for p in track]
    assert plan.course["private"] and 0 < sum(hidden) < len(hidden)
    assert leaked(json.dumps(plain(track)), homely.places()) == []
    done = footwork(
        *("race", "--course", tmp_path / "course.gpx", "--flat", "--fit-course", tmp_path / "c.fit"),
        library=homely.folder,
    )
    assert done.returncode == 2 and "private places" in done.stderr and not (tmp_path / "c.fit").exists()
    homely.remove_place("home")
    assert not any(p is None for p in homely.race(course=tmp_path / "course.gpx", flat=True).course["track"])
    done = footwork(
        *("race", "--course", tmp_path / "course.gpx", "--flat", "--fit-course", tmp_path / "c.fit"),
        library=homely.folder,
    )
    assert done.returncode == 0 and len(formats.read((tmp_path / "c.fit").read_bytes(), "c.fit").latitude) > 5


def test_no_file_that_leaves_holds_a_position_near_a_private_place(homely, tmp_path):
    (tmp_path / "words").write_text(WORDS)
    asked = {
        "run.csv": ["export", "1", "--out"],
        "run.parquet": ["export", "1", "--out"],
        "all": ["export", "--all", "--out"],
        "anonymous": ["export", "--all", "--anonymous", "--out"],
        "plan.csv": ["race", "--distance", "10km", "--csv"],
        "report.html": ["report", "--week", "--html"],
        "report.md": ["report", "--week", "--text"],
        "plan.age": ["handover", "--plan", "--report", "--zones", "--passphrase-file", tmp_path / "words"],
    }
    for name, words in asked.items():
        done = footwork(*words, tmp_path / name, library=homely.folder)
        assert done.returncode == 0, (name, done.stderr)
    texts = [
        p for p in tmp_path.rglob("*") if p.suffix in (".csv", ".json", ".html", ".md") and "library/" not in str(p)
    ]
    assert len(texts) > 8
    for path in texts:
        assert leaked(path.read_text("utf-8"), homely.places()) == [], path
    frame = pl.read_parquet(tmp_path / "run.parquet")
    near = private_places.near(
        *(frame[n].fill_null(np.nan).to_numpy() for n in ("latitude", "longitude")), homely.places()
    )
    assert not near.any()
    inside = encryption.decrypted((tmp_path / "plan.age").read_bytes(), WORDS, "plan")
    with zipfile.ZipFile(io.BytesIO(inside)) as archive:
        for name in archive.namelist():
            assert leaked(archive.read(name).decode("latin-1"), homely.places()) == [], name
    done = footwork(
        "handover", "--whole", "--passphrase-file", tmp_path / "words", tmp_path / "w.age", library=homely.folder
    )
    assert done.returncode == 2 and "private places" in done.stderr and not (tmp_path / "w.age").exists()
    ok = footwork(
        *("handover", "--whole", "--with-location", "--passphrase-file", tmp_path / "words", tmp_path / "w.age"),
        library=homely.folder,
    )
    assert ok.returncode == 0, ok.stderr


def test_an_anonymous_export_tells_nobody_who_it_is(homely, tmp_path):
    library = homely
    row = library.runs()[0]
    library.describe_run(row.id, shoe="Greta's red pair")
    library.tell(run=row.id, note="with my sister Greta")
    library.tell(date=row.local.date(), illness="flu")
    library.rename_scale(next(n for k, n in library.scales().items() if k != "model"), "Greta's pod")
    assert footwork("comment", row.id, "well done Greta", library=library.folder).returncode == 0
    told = library.export_all(tmp_path / "out", anonymous=True)
    assert (
        told["runs"] == len(library.runs()) and told["signals"] >= 1 and not (tmp_path / "out" / "originals").exists()
    )
    whole = "".join(p.read_text("utf-8") for p in (tmp_path / "out").rglob("*") if p.suffix in (".csv", ".json"))
    for word in ("Greta", "sister", "flu", "home", "latitude", row.date[:10], library.runs()[-1].date[:10], "2026-0"):
        assert word not in whole, word
    runs = pl.read_csv(tmp_path / "out" / "runs.csv")
    assert not any("Z" in s or "+" in s for s in [*runs["start"], *runs["date"]])  # nothing tells the time zone
    starts = [np.datetime64(s.rstrip("Z")) for s in runs["start"]]
    true = [np.datetime64(r.local.replace(tzinfo=None)) for r in library.runs()]
    apart = {int((b - a) / np.timedelta64(1, "s")) for a, b in zip(starts, true, strict=True)}
    assert len(apart) == 1 and apart.pop() % (7 * 86400) == 0  # one shift of whole weeks: the training stays as it was
    signals = pl.read_csv(sorted((tmp_path / "out" / "signals").iterdir())[0])
    first = min(runs["start"].to_list())
    assert signals["time"][0][:16] == first[:16]
    assert signals["power"].mean() == pytest.approx(float(np.nanmean(library.signals(1)["power"])), rel=1e-4)
    assert abs(signals["altitude"].drop_nulls()[0]) < 1e-6 if "altitude" in signals.columns else True
    other = library.export_all(tmp_path / "again", anonymous=True)
    assert other["runs"] == told["runs"]
    assert (tmp_path / "again" / "runs.csv").read_text() != (tmp_path / "out" / "runs.csv").read_text()
    with pytest.raises(UsageError, match="no positions"):
        export.everything(library, tmp_path / "x", anonymous=True, with_location=True)
