"""An invented runner's season as real files, imported like anyone's: nothing here knows what the estimators assume."""

from __future__ import annotations

import datetime as dt
import shutil
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from footwork.demo import season, write
from footwork.demo.simulate import Runner

if TYPE_CHECKING:
    from footwork.api import Library

SEED = 20260302
RUNNER = Runner()


def recordings(folder: Path, progress: Any = None) -> int:
    """Write the season's files into a folder, its race course among them; returns how many files."""
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(SEED)
    planned = season.plan(RUNNER, rng)
    count = 0
    for index, item in enumerate(planned):
        if season.missed(item.start.date()):
            continue
        samples = season.run(item, RUNNER, np.random.default_rng(SEED + 1 + index))
        count += len(write.save(folder, samples, index))
        if progress is not None:
            progress(index + 1, len(planned), item.title)
    for week in (5, 15, 23):  # rides, and once a run straight off the bike
        count += _ride(folder, season.FIRST_DAY + dt.timedelta(weeks=week, days=5), brick=week == 15)
    for week in (22, 23, 24):
        count += _swim(folder, season.FIRST_DAY + dt.timedelta(weeks=week))
    lat, lon, ele = season.half_marathon_course(np.random.default_rng(SEED))
    (folder / "cliff-half-marathon.gpx").write_text(
        write.course_text("Cliff half marathon", lat, lon, ele), encoding="utf-8"
    )
    return count + 1


def _ride(folder: Path, day: dt.date, brick: bool) -> int:
    rng = np.random.default_rng(SEED + day.toordinal())
    start = dt.datetime.combine(day, dt.time(15, 5), season.ZONE)
    ride = season.run(season.Planned(start, "Ride", [(3600, 0.8)], 0.1), RUNNER, rng)
    ride.columns["speed"] = ride.columns["speed"] * 2.4
    ride.columns["distance"] = ride.columns["distance"] * 2.4
    ride.columns["power"] = np.rint(190 + rng.normal(0, 25, len(ride.time)))
    legs = [("cycling", ride)]
    if brick:
        after = dt.datetime.fromtimestamp(float(ride.time[-1]) + 90, season.ZONE)
        legs.append(("running", season.run(season.Planned(after, "Off the bike", [(1500, 0.85)], 0.05), RUNNER, rng)))
    (folder / f"{start:%Y-%m-%d-%H%M}-ride.fit").write_bytes(write.fit_bytes(legs, 1001, 77001))
    return 1


def _swim(folder: Path, day: dt.date) -> int:
    """Forty-five minutes in the bay without a strap."""
    start = dt.datetime.combine(day, dt.time(7, 10), season.ZONE)
    clock = start.timestamp() + np.arange(2700.0)
    metres = np.cumsum(0.95 + 0.05 * np.sin(np.arange(2700.0) / 40))
    swum = season.Samples(season.Planned(start, "Swim", []), clock, {"distance": metres}, [], [(0, len(clock))])
    (folder / f"{start:%Y-%m-%d-%H%M}-swim.fit").write_bytes(write.fit_bytes([("swimming", swum)], 1001))
    return 1


SESSIONS = {
    "5 times 4 minutes along the sea wall": "15 min easy, 5 x (4 min at 105 % CP, 2 min easy jog), 12 min easy",
    "4 times 6 minutes along the sea wall": "15 min easy, 4 x (6 min threshold, 3 min easy jog), 12 min easy",
    "6 times 3 minutes along the sea wall": "15 min easy, 6 x (3 min at 108 % CP, 90 s easy jog), 10 min easy",
    "10 times 1.5 minutes along the sea wall": "15 min easy, 10 x (90 s at 112 % CP, 75 s easy jog), 10 min easy",
}


def make(folder: Path, progress: Any = None, workers: int = 2) -> dict[str, Any]:
    """Write the recordings, import them into a library beside them, and tell it what the runner would.

    An existing demo in the folder is replaced; any other folder that is not empty is refused.
    """
    from footwork.api import Library
    from footwork.errors import UsageError

    files, library_folder = folder / "recordings", folder / "library"
    ours = folder / "made-by-footwork-demo.txt"
    if folder.exists() and (not folder.is_dir() or (any(folder.iterdir()) and not ours.exists())):
        raise UsageError(f"{folder} is not empty and no demo: name a new folder")
    folder.mkdir(parents=True, exist_ok=True)
    ours.write_text(
        "Footwork's demo replaces this folder's recordings and library when it runs again.\n", encoding="utf-8"
    )
    shutil.rmtree(files, ignore_errors=True)
    shutil.rmtree(library_folder, ignore_errors=True)
    count = recordings(files, progress)
    with Library.open(library_folder) as library:
        library.athlete.set(
            season.FIRST_DAY, mass=RUNNER.mass, max_heart_rate=RUNNER.max_rate, resting_heart_rate=RUNNER.rest_rate
        )
        library.add([files], workers=workers, progress=progress)
        by_start = {row.start: row.id for row in library.runs()}
        for item in season.plan(RUNNER, np.random.default_rng(SEED)):
            run_id = by_start.get(item.start.astimezone(dt.UTC).strftime("%Y-%m-%dT%H:%M:%SZ"))
            for mark in item.marks:
                if run_id is not None:
                    library.mark(run_id, mark)
            if item.title in SESSIONS and item.start.month == 7:  # from August on there is a plan
                library.plan_session(SESSIONS[item.title], item.start.date(), item.title)
        _tell(library, {row.id: row for row in library.runs()})
        _try(library)
        _prepare(library)
        library.diary_from(
            _mornings(folder / "mornings.csv"), {"date": "day", "resting_heart_rate": "pulse", "soreness": "soreness"}
        )
        runs = len(library.runs())
    return {
        "recordings": str(files),
        "library": str(library_folder),
        "files": count,
        "runs": runs,
        "course": str(files / "cliff-half-marathon.gpx"),
    }


def _tell(library: Library, rows: dict[int, Any]) -> None:
    """What this runner writes down: weather of the summer, shoes, how sessions felt, a cold, a race from the year
    before."""
    rng = np.random.default_rng(SEED)
    for run_id, row in rows.items():
        day = row.local.date()
        if rng.random() < 0.92:  # some days nobody looked
            wind = float(np.round(rng.gamma(2.0, 1.4), 1))
            warm = season.temperature_on(day) + (4.0 if row.local.hour >= 15 else 0.0)
            library.set_weather(
                run_id,
                temperature_c=round(warm, 1),
                humidity=0.6,
                wind_mps=wind,
                wind_from_deg=float(rng.integers(0, 36) * 10),
            )
            if day >= dt.date(2026, 6, 15):
                library.describe_run(run_id, shoe="grey pair" if rng.random() < 0.6 else "blue pair")
        if {"race", "test"} & set(row.marks):
            library.tell(run_id, exertion=9.0 if "race" in row.marks else 8.0)
    for week in range(season.WEEKS):  # sleep, when it was short or long
        day = season.FIRST_DAY + dt.timedelta(weeks=week, days=2)
        library.tell(date=day, sleep=round(float(np.clip(rng.normal(7.3, 0.7), 5, 9)), 1))
    library.tell(date=dt.date(2026, 5, 5), illness="cold", note="slept badly, no running until Saturday")
    library.tell(date=dt.date(2026, 5, 9), well="again")
    library.enter_run(dt.datetime(2025, 9, 21, 10, 0), 44 * 60 + 10, metres=10_000, name="race")


def _prepare(library: Library) -> None:
    """A plan for the half marathon in October, accepted; then a cold, and what it changed, twice."""
    planned = dt.date(2026, 8, 2)
    wishes: dict[str, Any] = {
        "distance": "half",
        "name": "Cliff half marathon",
        "hours": "6",
        "keep": ["mon swim 45 min"],
    }
    library.new_season(planned, race="2026-10-18", days="tue,wed,thu,fri,sun", long="sun", **wishes)
    library.accept_season(planned)
    ill, well = season.MISSED[0] - dt.timedelta(days=1), season.MISSED[1]
    library.tell(date=ill, illness="cold", note="shivering, to bed")
    for day in (ill, well - dt.timedelta(days=1)):  # as long as it lasts, the next days go
        library.accept_changes(date=day)
    library.tell(date=well, well="again", note="up and about, a walk felt fine")
    library.accept_changes(date=well)


def _mornings(path: Path) -> Path:
    """A table of what this runner wrote down each morning from May on; the cold shows on its first two."""
    rng = np.random.default_rng(SEED)
    first, last = dt.date(2026, 5, 1), season.FIRST_DAY + dt.timedelta(weeks=season.WEEKS, days=-1)
    rows = ["day,pulse,soreness"]
    for day in (first + dt.timedelta(days=k) for k in range((last - first).days + 1)):
        off = (day - season.MISSED[0]).days + 3  # 1 on the day before it was a cold
        worse = {1: 0.6, 2: 1.0, 3: 1.0, 4: 0.7, 5: 0.3}.get(off, 0.0)
        pulse, sore = 46.0 + 1.3 * rng.standard_normal() + 7.0 * worse, 2.0 + 0.9 * rng.standard_normal() + 4.0 * worse
        if rng.random() < 0.9:  # some mornings nobody looked
            rows.append(f"{day},{pulse:.0f},{min(max(sore, 0.0), 10.0):.0f}")
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


def _try(library: Library) -> None:
    """The season's two trials as this runner designed them, with the runs that were run for them."""
    on = {row.local.date(): row.id for row in library.runs() if row.local.hour == 18}
    for title, (first, _) in season.TRIALS.items():
        name = title.removeprefix("Trial: ")
        number = library.new_trial(
            library.design_trial(
                name,
                "grey pair" if "pair" in name else "as usual",
                runs=season.TRIAL_RUNS,
                seed=season.TRIAL_SEED,
                speed=1000 / 325,
                course="the dyke, out and back",
            ),
            first - dt.timedelta(days=3),
        )
        for k in range(season.TRIAL_RUNS):
            run = on.get(first + dt.timedelta(weeks=k))
            if run is not None:
                library.join_trial(number, run, k + 1)
