"""Charts saved as pictures, and what a picture sheet refuses."""

import datetime as dt
from types import SimpleNamespace

import httpx
import pytest

from footwork.web.pages.capacity_page import history_chart
from footwork.web.pages.runs_page import _untold


@pytest.mark.parametrize(("kind", "begins"), [("SVG", b"<svg"), ("PNG", b"\x89PNG"), ("PDF", b"%PDF-")])
def test_a_chart_is_saved_as_a_picture(page, kind, begins):
    page.goto("/capacity")
    with page.expect_download() as given:
        page.get_by_role("button", name=f"Save as {kind}: ").first.click()
    assert given.value.suggested_filename.endswith(kind.lower())
    with open(given.value.path(), "rb") as made:
        assert made.read().startswith(begins)


def test_a_picture_sheet_takes_no_other_file(served, tmp_path, monkeypatch):
    from footwork.errors import UsageError
    from footwork.reports import picture_sheet

    def sent(text):
        return httpx.post(f"{served[0]}/picture.pdf", content=text, headers={"origin": served[0]})

    refused = sent("<svg")
    assert refused.status_code == 422 and "cannot be put on a sheet" in refused.json()["error"]
    assert sent("<svg>" + " " * 5_000_000).status_code == 413
    monkeypatch.chdir(tmp_path)
    pixel = bytes.fromhex(
        "89504e470d0a1a0a0000000d4948445200000001000000010802000000907753de0000000c4944415408d763f8cfc000000301"
        "0100c9fe92ef0000000049454e44ae426082"
    )
    (tmp_path / "secret.png").write_bytes(pixel)
    whole = '<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9">{}</svg>'
    assert picture_sheet(whole.format('<rect width="3" height="3"/>'))[:5] == b"%PDF-"
    for wanted in ("secret.png", str(tmp_path / "secret.png"), "/etc/hosts"):
        with pytest.raises(UsageError, match="other files") as told:
            picture_sheet(whole.format(f'<image href="{wanted}" width="9" height="9"/>'))
        assert str(tmp_path) not in str(told.value)


def test_ten_years_of_days_are_thinned_to_what_a_picture_shows():
    first = dt.date(2016, 1, 1)
    days = [(first + dt.timedelta(days=k)).isoformat() for k in range(3650)]

    def row(k):
        value = None if 1000 <= k < 1100 else 250.0 + k / 100
        return {"date": days[k], "critical_power": {"low": value, "value": value, "high": value}}

    moved = [{"date": days[2001], "run": 7, "before_w": 265.0, "after_w": 270.0}]
    told = {"history": [row(k) for k in range(3650)], "moved": moved, "accepted_entries": []}
    line = next(mark for mark in history_chart(told).panes[0].marks if mark.kind == "line")
    shown = {dt.date.fromordinal(int(day)).isoformat() for day in line.x}
    assert 600 < len(shown) < 720
    assert {days[0], days[3649], days[2001], days[999], days[1000], days[1099], days[1100]} <= shown
    short = {**told, "history": told["history"][:600], "moved": []}
    assert len(history_chart(short).panes[0].marks[-1].x) == 600


def test_columns_of_which_no_run_tells_anything_take_no_room():
    def run(**told):
        return SimpleNamespace(**{"weather": None, "climb_m": None, "heart_rate_bpm": None, **told})

    every = {"warmth", "wind", "climb", "rate", "scale"}
    assert _untold([run(), run(climb_m=0.0)], {"foot sensor A"}) == every
    assert _untold([run(), run(weather={"temperature_c": 0.0})], {"a"}) == every - {"warmth"}
    assert _untold([run(weather={"wind_mps": 0.0}), run(climb_m=12.0)], {"a"}) == every - {"wind", "climb"}
    assert _untold([run(heart_rate_bpm=140.0)], {"a", "b"}) == every - {"rate", "scale"}
