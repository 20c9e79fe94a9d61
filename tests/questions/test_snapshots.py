"""Going on from a month's end gives the numbers of following everything, and only for that very evidence."""

import datetime as dt

import numpy as np

from footwork.physiology import tracking
from footwork.physiology.critical import Evidence
from footwork.physiology.endurance import power_at
from footwork.questions import capacity
from footwork.questions.capacity import KEPT


class Shelf:
    def __init__(self, folder):
        self.folder = folder
        (folder / "derived").mkdir()


def history(count, last=1.0):
    first = dt.date(2024, 1, 3).toordinal()
    out = []
    for i in range(count):
        kind, durations = (("maximal", (180.0, 720.0)), ("habitual", (180.0, 420.0, 720.0)), ("bound", (1200.0,)))[
            i % 3
        ]
        powers = tuple(
            float(power_at(t, 250 + i, 15_000.0, 0.065)) * (last if i == count - 1 else 1.0) for t in durations
        )
        out.append(tracking.Dated(first + 17 * i, Evidence(kind, durations, powers, 0.0, f"day {i}", i)))
    return out


def same(a, b):
    np.testing.assert_array_equal(a.log_weight, b.log_weight)
    assert (a.states, a.steps, a.day, a.habit) == (b.states, b.steps, b.day, b.habit)


def test_a_new_run_goes_on_from_the_last_month(tmp_path, monkeypatch):
    shelf = Shelf(tmp_path)
    capacity.follow(shelf, "k", history(30), keep=True)
    assert len(list((tmp_path / "derived" / "snapshots").glob("*.npz"))) == KEPT
    more = history(31)
    seen = []
    plain = tracking.follow
    monkeypatch.setattr(tracking, "follow", lambda dated, start=None: (seen.append(len(dated)), plain(dated, start))[1])
    went_on = capacity.follow(shelf, "k", more, keep=True)
    assert sum(seen) <= 3
    same(went_on, plain(more))


def test_other_evidence_is_followed_anew_and_damage_is_passed_over(tmp_path):
    shelf = Shelf(tmp_path)
    capacity.follow(shelf, "k", history(30), keep=True)
    edited = history(30)
    edited[2] = tracking.Dated(edited[2].day, Evidence("bound", (1200.0,), (120.0,), 0.0, "edited", 2))
    same(capacity.follow(shelf, "k", edited, keep=False), tracking.follow(edited))
    for path in (tmp_path / "derived" / "snapshots").glob("*.npz"):
        path.write_bytes(path.read_bytes()[:1000])
    same(capacity.follow(shelf, "k", history(30), keep=True), tracking.follow(history(30)))
