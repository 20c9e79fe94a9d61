"""The demo's club: twelve runners of whom the squad says what is true of each."""

import datetime as dt
from functools import partial
from unittest import mock

import pytest

from footwork import Squad
from footwork.demo import club
from footwork.errors import UsageError
from tests.program import ok

TODAY = dt.date(2026, 11, 27)


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """As the README's command makes it, on a day that stays the same."""
    folder = tmp_path_factory.mktemp("club") / "demo"
    with mock.patch("footwork.demo.club.make_club", partial(club.make_club, today=TODAY)):
        ok("demo", folder, "--squad")
    return folder


def test_the_squad_says_what_is_true_of_each(made):
    found = {a.athlete: a for a in Squad.open(made / "runners").lines(TODAY).athletes}
    assert set(found) == {m.name for m in club.MEMBERS} and not any(a.problem for a in found.values())
    order = list(found)
    assert set(order[:5]) == {"Bruno", "Ida", "Dario", "Elin", "Greta"}
    assert found["Bruno"].health == "Not now." and "injury" in found["Ida"].health  # one shares it, the other does not
    assert found["Dario"].race["days"] == 6 and "Harbour 10 km in 6 days" in found["Dario"].first
    assert "a device jumped" in found["Elin"].first and "% less at the same easy speed" in found["Elin"].changed[0]
    assert found["Fynn"].critical_power.value is None and found["Fynn"].consent is None
    assert any("back after" in w for w in found["Greta"].first)
    assert found["Jonas"].evidence_days is None and found["Ada"].evidence_days == 17
    assert {a.against_usual for n, a in found.items() if n in ("Ada", "Carla", "Hugo", "Kaia", "Levin")} <= {
        "usual",
        "above usual",
        "below usual",
    }
    assert Squad.open(made / "runners").groups() == club.GROUPS


def test_another_folder_is_not_replaced(tmp_path):
    (tmp_path / "mine.txt").write_text("mine")
    with pytest.raises(UsageError, match="no demo"):
        club.make_club(tmp_path, today=TODAY)
