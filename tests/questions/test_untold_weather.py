"""How much entering the weather would narrow a season's answer."""

import datetime as dt
from types import SimpleNamespace

import numpy as np
import pytest

from footwork.analysis import response
from footwork.analysis.usual_watts import Sky
from footwork.errors import NotEnoughData
from footwork.questions.progress import untold_weather
from tests import seasons


@pytest.fixture
def told(monkeypatch):
    """What is answered of a simulated season, with or without its temperatures."""

    def ask(known, seed=910):
        truth: list[float] = []
        runs, border = seasons.season(np.random.default_rng(seed), 0.03, 20, truth)
        runs = [
            response.RunRows(**{**r.__dict__, "sky": Sky(t if known else None)})
            for r, t in zip(runs, truth, strict=True)
        ]
        prepared = response.prepare(runs, border)
        ends = [dt.date.fromordinal(int(r.day)) for r in (runs[0], runs[-1])]
        of = SimpleNamespace(
            prepared=prepared, model=response.fit(prepared), border=border, since=ends[0], until=ends[1]
        )
        monkeypatch.setattr(untold_weather, "season", lambda *_, **__: of)
        return untold_weather.worth_of_weather(None)

    return ask


def test_told_weather_narrows_the_change(told):
    assert "hardly narrow it" in told(False, 909)["sentence"]
    found = told(False)
    assert found["untold"] == found["runs"] and found["half_width_told"] < 0.9 * found["half_width_now"]
    assert f"entered to about ±{found['half_width_told']:.1f} %" in found["sentence"]


def test_where_all_is_told_there_is_nothing_to_enter(told):
    with pytest.raises(NotEnoughData, match="every run is told"):
        told(True)
