"""Heart rate as a check on a device that is held to under-read climbs."""

from types import SimpleNamespace

import numpy as np
import pytest

from footwork.analysis import response
from footwork.errors import NotEnoughData
from footwork.questions.race import race_plan

STEEP = {"grade": 0.06, "power_w": 216.0, "effort_w": 248.0, "headwind_mps": 0.0}
FLAT = {"grade": 0.0, "power_w": 233.0, "effort_w": 245.0, "headwind_mps": 0.0}
MADE = SimpleNamespace(measured=True, date=None, scale="foot sensor A")


def model(up, sd, per_watt=0.5):
    """Of a heart that rises by so much a watt and so much for each per cent uphill at the same watts [bpm]."""
    mean, covariance = np.zeros(len(response.C)), np.zeros((len(response.C), len(response.C)))
    mean[response.C["power"] - 1], mean[response.C["up"] - 1] = per_watt, up
    covariance[response.C["up"] - 1, response.C["up"] - 1] = sd**2
    return SimpleNamespace(model=SimpleNamespace(mean=mean, covariance=covariance))


def said(monkeypatch, found, stretches=(FLAT, STEEP), made=MADE, surface=1.0):
    def season(library, date, scale):
        if isinstance(found, Exception):
            raise found
        return found

    monkeypatch.setattr(race_plan.progress, "season", season)
    return race_plan._doubted_by_heart_rate(None, made, list(stretches), SimpleNamespace(surface=np.full(3, surface)))


def test_a_heart_that_does_not_rise_uphill_doubts_it(monkeypatch):
    # Half a beat a watt, 32 W over 6 %: 2.67 bpm for each per cent.
    (told,) = said(monkeypatch, model(-0.04, 0.05))
    assert "at the same watts it is +0.0 bpm (-0.1 to +0.1) for each per cent uphill" in told
    assert "would make it +2.7." in told and "between the watts shown and 248 W" in told


@pytest.mark.parametrize(
    ("up", "sd", "doubts"),
    [
        (2.6, 0.05, False),  # as an under-read asks
        (1.2, 0.05, True),  # its upper end, 1.30, is less than half of that
        (1.3, 0.05, False),  # 1.40 is more
        (0.0, 0.36, False),  # not known better than the prior tells: 0.5
    ],
)
def test_it_needs_less_than_half_with_its_error(monkeypatch, up, sd, doubts):
    assert bool(said(monkeypatch, model(up, sd))) == doubts


def test_nothing_is_said_where_nothing_is_held_or_known(monkeypatch):
    nothing = model(0.0, 0.05)
    assert said(monkeypatch, nothing, [FLAT]) == []
    assert said(monkeypatch, nothing, [{**STEEP, "effort_w": 222.0}]) == []  # 2.8 %
    assert said(monkeypatch, nothing, [{**STEEP, "grade": 0.02}]) == []
    for wind in (0.6, -0.6):  # which the device does not feel either
        assert said(monkeypatch, nothing, [{**STEEP, "headwind_mps": wind}]) == []
    assert said(monkeypatch, nothing, surface=1.1) == []
    assert said(monkeypatch, nothing, made=SimpleNamespace(measured=False, date=None, scale="")) == []
    assert said(monkeypatch, NotEnoughData("too few runs")) == []
