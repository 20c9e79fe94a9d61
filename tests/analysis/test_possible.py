"""What no runner can do: too fast for too long, watts that nothing asks for, positions and clocks that leap."""

import json

import numpy as np
import pytest

from footwork.analysis import cleaning, possible
from footwork.errors import UnreadableFile
from footwork.signals import PowerStream, Recording

T, N = 1_772_000_000.0, 1800


def recording(n=N, time=None, **columns):
    columns = {name: np.broadcast_to(np.asarray(v, float), n).copy() for name, v in columns.items()}
    at = T + np.arange(n) if time is None else time
    streams = [PowerStream("power", "x", "device")] if "power" in columns else []
    return Recording("running", {"time": at, **columns}, streams)


def said(changes, what):
    return sum(c.count for c in changes if c.what == what)


@pytest.mark.parametrize("metres, seconds", [(400, 43.03), (800, 100.91), (1500, 206.0), (2000, 283.2), (5000, 755.4)])
def test_no_record_of_running_is_too_fast(metres, seconds):
    """World records of men, from memory of the lists."""
    n = round(seconds)
    speed = np.concatenate([np.zeros(30), np.full(n, metres / seconds), np.zeros(30)])
    assert not possible.too_fast({"time": np.arange(len(speed)), "speed": speed}).any()
    distance = np.cumsum(speed)
    assert not possible.too_fast({"time": np.arange(len(speed)), "distance": distance}).any()


def test_the_drive_home_is_no_running():
    rng = np.random.default_rng(3)
    speed = np.concatenate([3.3 + rng.normal(0, 0.2, 1800), np.full(60, 1.0), 14 + rng.normal(0, 2, 600)])
    signals, changes = cleaning.clean(recording(2460, distance=np.cumsum(speed), power=230))
    assert abs(said(changes, "fast") - 600) <= 60
    assert signals["distance"][-1] == pytest.approx(1860 * 3.2, rel=0.03)
    assert signals.timer[:1800].all() and not signals.timer[1900:2400].any()
    with pytest.raises(UnreadableFile, match="faster than anyone runs"):
        cleaning.clean(recording(distance=11.0 * np.arange(N)))
    for speed in (8.5, 40.0):  # too fast only for so long, and faster than the steps that one leap may have
        with pytest.raises(UnreadableFile, match="faster than anyone runs"):
            cleaning.clean(recording(distance=speed * np.arange(N)))


def test_a_ride_may_be_as_fast_as_it_was():
    ride = recording(distance=11.0 * np.arange(N))
    ride.sport = "cycling"
    assert cleaning.clean(ride)[0].timer.all()


@pytest.mark.parametrize("mass", [None, 45.0, 70.0, 110.0])
def test_watts_of_any_scale_stay_and_absurd_ones_go(mass):
    body = mass or 70.0
    for scale in (0.7, 1.0, 1.35):  # of devices, beside the flat cost
        sound = recording(power=scale * 1.04 * body * 3.3, speed=3.3)
        assert said(cleaning.clean(sound, mass)[1], "watts") == 0
    watts = np.full(N, 3.3 * body)
    watts[600:1200] = 1900.0
    signals, changes = cleaning.clean(recording(power=watts, speed=3.3), mass)
    assert said(changes, "watts") == 600 and np.isnan(signals["power"][600:1200]).all()
    assert signals["power"][0] == pytest.approx(3.3 * body)


def test_watts_are_judged_by_the_speed_before_any_bound_of_all():
    watts = np.where(np.arange(N) < 600, 900.0, 231.0)
    assert said(cleaning.clean(recording(power=watts, speed=3.3), 70.0)[1], "watts") == 600
    assert said(cleaning.clean(recording(55, power=900.0, speed=9.0), 70.0)[1], "watts") == 0


def test_a_device_that_is_wrong_all_along_measured_nothing():
    mostly = np.where(np.arange(N) < 1080, 900.0, 231.0)  # so that nobody knows which watts of it are right
    for watts in (1900.0, 5.0, mostly):
        signals, changes = cleaning.clean(recording(power=watts, speed=3.3, cadence=170), 70.0)
        assert said(changes, "watts") == N and [s.measured for s in signals.streams] == [False]
    signals, _ = cleaning.clean(recording(power=1900, heart_rate=140 + np.arange(N) % 7), 70.0)
    assert signals.streams == ()  # nor is there a speed to model it from


def test_few_watts_downhill_and_uphill_at_a_walk_are_sound():
    way = np.cumsum(np.full(N, 3.0))
    down = recording(power=25.0, distance=way, altitude=2000 - 0.15 * way)
    assert said(cleaning.clean(down, 70.0)[1], "watts") == 0
    way = np.cumsum(np.full(N, 1.0))
    up = recording(power=260.0, distance=way, altitude=500 + 0.35 * way)
    assert said(cleaning.clean(up, 70.0)[1], "watts") == 0


def test_positions_that_leap_throughout_are_no_way():
    rng = np.random.default_rng(1)
    north = 47 + np.arange(N) * 3e-5
    once = north.copy()
    once[900:] += 1.0
    signals, changes = cleaning.clean(recording(latitude=once, longitude=8.0, power=230))
    assert signals["distance"][-1] == pytest.approx(6000, rel=0.01) and said(changes, "leaps") == 0
    often = north + rng.choice([0, 0.01], N)
    signals, changes = cleaning.clean(recording(latitude=often, longitude=8.0, power=230))
    assert "distance" not in signals and "latitude" not in signals and said(changes, "leaps") == N
    for back in (np.abs(np.sin(np.arange(N))) * 1000, np.cumsum(np.where(np.arange(N) % 5 == 4, -9.0, 4.0))):
        signals, changes = cleaning.clean(recording(distance=back, power=230))
        assert "distance" not in signals and said(changes, "counter broken") == N


@pytest.mark.parametrize("gap", [2, 10, 15, 24, 60])
def test_sparse_positions_are_a_way(gap):
    at = gap * np.arange(120)
    sparse = recording(120, time=T + at, latitude=47 + at * 3.5 / 111_195, longitude=8.0)
    signals, changes = cleaning.clean(sparse)
    assert said(changes, "leaps") == 0 and signals["distance"][-1] == pytest.approx(at[-1] * 3.5, rel=0.01)


def test_a_steep_treadmill_keeps_its_watts():
    """At 30 % and 1.7 m/s running costs some three and a half times the flat; nothing tells the grade."""
    walk = recording(power=416.0, speed=1.7, cadence=150)
    assert said(cleaning.clean(walk, 70.0)[1], "watts") == 0
    absurd = recording(power=900.0, speed=3.3, cadence=170)
    assert said(cleaning.clean(absurd, 70.0)[1], "watts") == N


def test_a_table_with_the_newest_first_is_turned_round():
    speed = np.linspace(2.5, 3.5, N)
    turned = recording(time=T + np.arange(N)[::-1] * 2.0, speed=speed[::-1], latitude=47 + np.arange(N)[::-1] * 5e-5)
    signals, changes = cleaning.clean(turned)
    assert signals["speed"][0] == pytest.approx(2.5) and signals["speed"][-1] == pytest.approx(3.5)
    assert said(changes, "order") == 0


def test_a_clock_that_jumps_throughout_is_refused_and_one_that_jumps_once_is_mended():
    rng = np.random.default_rng(2)
    for shift in (rng.choice([0, 3600], N), -np.where(np.arange(N) % 2, 5 * 86400, 0)):
        with pytest.raises(UnreadableFile, match="clock"):
            cleaning.clean(recording(time=T + np.arange(N) + shift, speed=3.3))
    once = T + np.arange(N) - np.where(np.arange(N) > 900, 3600, 0)
    assert len(cleaning.clean(recording(time=once, speed=3.3))[0]) <= N + 3600


def test_a_part_with_an_earlier_clock_is_put_where_it_was_run():
    time = T + np.arange(N) - np.where((np.arange(N) >= 600) & (np.arange(N) < 700), 5 * 3600, 0)
    signals, changes = cleaning.clean(recording(time=time, speed=np.linspace(2.5, 3.5, N)))
    assert len(signals) == N and said(changes, "clock") == 2 and signals["time"][0] == T
    assert signals["speed"][650] == pytest.approx(2.5 + 650 / (N - 1))


def test_a_point_every_four_minutes_without_going_on_is_no_run_of_five_days():
    sparse = T + 240.0 * np.arange(N)
    signals, _ = cleaning.clean(recording(time=sparse, latitude=47 + np.arange(N) * 3e-5, longitude=8.0))
    assert signals.timer.sum() == N
    going = recording(40, time=T + 240.0 * np.arange(40), distance=700.0 * np.arange(40))
    assert cleaning.clean(going)[0].timer.all()  # sparse, but somebody ran on


def test_an_import_says_what_it_left_out(tmp_path):
    from footwork.api import Library

    rows = [f"2026-02-01T08:{k // 60:02}:{k % 60:02}Z,3.3,{1900 if k > 600 else 230}" for k in range(N)]
    (tmp_path / "a.csv").write_text("\n".join(["time,speed,power", *rows]))
    with Library.open(tmp_path / "library") as library:
        library.athlete.set(mass=70)
        library.add([tmp_path / "a.csv"])
        told = json.dumps(library.run(1).to_json())
    assert "the speed and the slope cannot ask for them" in told


@pytest.mark.parametrize(
    ("metres", "seconds", "beyond"),
    [
        (400, 43.0, False),  # records, from memory of the lists
        (3000, 437.0, False),
        (5000, 755.0, False),
        (10_000, 1571.0, False),
        (21_330, 3600.0, False),
        (42_195, 7235.0, False),
        (3000, 390.0, True),
        (5000, 710.0, True),
        (10_000, 1500.0, True),
        (22_600, 3600.0, True),
        (43_500, 7200.0, True),
    ],
)
def test_a_result_that_nobody_has_run_is_told_from_records(metres, seconds, beyond):
    assert possible.beyond_records(metres, seconds) == beyond
