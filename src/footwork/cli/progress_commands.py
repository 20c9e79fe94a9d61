"""Progress, comparisons of runs, and trials, on the command line."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Annotated, Any

import typer

from footwork.cli.common import Date, Json, Scale, app, day, opened, out, remembered, say
from footwork.errors import UsageError
from footwork.wording.cautions import held_back

trial = typer.Typer(help="Trials of a change: new, list, join, analyse, export.", no_args_is_help=True)
app.add_typer(trial, name="trial")
Worthwhile = Annotated[
    float | None, typer.Option(help="Smallest worthwhile change in power at a heart rate, per cent; 0.5 by default.")
]


@app.command()
@remembered
def progress(
    since: Annotated[
        str | None, typer.Option(help="First day, YYYY-MM-DD; half a year before the last by default.")
    ] = None,
    until: Annotated[str | None, typer.Option(help="Last day; the newest run's by default.")] = None,
    date: Date = None,
    scale: Scale = None,
    worthwhile: Worthwhile = None,
    power: Annotated[
        float | None, typer.Option(help="Power that heart rate is told at, W; the middle of the runs by default.")
    ] = None,
    heart_rate: Annotated[
        float | None, typer.Option(help="Heart rate that power is told at, bpm; the middle one by default.")
    ] = None,
    run: Annotated[int | None, typer.Option("--run", help="Instead: heart rate against power along one run.")] = None,
    cadence: Annotated[
        bool, typer.Option("--cadence", help="Instead: heart rate against cadence in everyday runs, described only.")
    ] = False,
    weather: Annotated[
        bool, typer.Option("--weather", help="Instead: how much entering the weather would narrow the answer.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Is it progress: power at the same heart rate over a season, with what else could have caused it."""
    from footwork.questions import trials

    if (run is not None) + cadence + weather > 1:
        raise UsageError("ask for one run with --run, for cadence with --cadence, or for the weather with --weather")
    with opened() as library:
        imperial = library.setting("units") == "imperial"
        if run is not None:
            found = library.within(run)
        elif weather:
            found = library.worth_of_weather(day(until or date), scale)
        elif cadence:
            found = trials.cadence_history(library, day(since), day(until or date))
        else:
            found = library.progress(
                day(since),
                day(until),
                day(date),
                scale=scale,
                worthwhile=worthwhile,
                power=power,
                heart_rate=heart_rate,
            )
    if as_json:
        return out(found)
    if run is not None or cadence or weather:
        say(found["sentence"])
        for g in found.get("groups", []):
            say(
                f"  cadence {g['cadence']:<26} {g['heart_rate_bpm']:+.1f} bpm against the run's own at the "
                f"same power, {g['minutes']} minutes"
            )
        return None
    _progress_told(found, imperial)
    for w in found["warnings"]:
        say(f"Note: {w}")
    say(f"Prior: {found['prior']}.")
    for line in found["differences_in_conditions"]:
        say(f"Note: not the same in the first and the last third: {line}.")
    return None


def _progress_told(found: dict[str, Any], imperial: bool) -> None:
    from footwork.quantities import Estimate, describe, format_pace, signed

    decision = found["decision"]
    say(found["sentence"])
    if since := found["alike_since"]:
        say(f"From {since} on heat hardly comes into it: asked with --since {since} it is of that alone.")
    if decision["probability_better"] is not None:
        say(
            f"Probability that it is worthwhile ({found['smallest_worthwhile_change_percent']:g} % and more) "
            f"{100 * decision['probability_better']:.1f} %, worse {100 * decision['probability_worse']:.1f} "
            "%; "
            f"needed {100 * decision['needed']:.1f} %, for the {decision['looks']} weekly looks of a whole season."
        )
    say(
        f"{found['runs']} runs, {found['minutes']} minutes on {found['scale']}, {found['since']} to "
        f"{found['until']}, heart rate sound in {100 * found['heart_rate_sound']:.0f} % of its time; at reference "
        f"conditions: {found['conditions']}."
    )
    for row in found["series"][:: max(1, len(found["series"]) // 8)]:
        p, h = row["power"], row["heart_rate"]
        say(
            f"  {row['date']}  {p['value']:.0f} W  {p['low']:.0f}–{p['high']:.0f} at "
            f"{found['reference_heart_rate_bpm']:g} bpm;  {h['value']:.0f} bpm  "
            f"{h['low']:.0f}–{h['high']:.0f} at {found['reference_power_w']:g} W"
        )
    if found["effects"]:
        for e in found["effects"]:
            say(
                f"  {e['of']}: {e['effect']['value']:+.1f} bpm  {e['effect']['low']:+.1f} to {e['effect']['high']:+.1f}"
            )
    for r in found["results"]:
        say(
            f"By tests and races, {r['date']}: critical power "
            f"{describe(Estimate.from_json(r['critical_power']))}, {r['evidence']}."
        )
    months = [m for m in found["speed"]["months"] if m["speed"]["value"] is not None]
    if months:
        say(
            f"Flat speed at {found['speed']['power_w']:g} W: "
            + ", ".join(f"{m['month']} {format_pace(m['speed']['value'], imperial)}" for m in months)
            + f". {found['speed']['sentence']}"
        )
    for d in found["durability"]:
        say(
            f"After {d['from_kj']} to {d['to_kj']} kJ: heart rate {d['rise']['value']:+.1f} bpm at the same "
            f"power  {d['rise']['low']:+.1f} to {d['rise']['high']:+.1f} ({d['rise']['n']} runs)"
        )
    for m in found["form"]["measures"]:
        c = m["change"]
        if c["value"] is not None:
            digits = 3 if m["unit"] == "m" else 1
            say(
                f"{m['name'].replace('_', ' ').capitalize()} at {format_pace(m['speed_mps'], imperial)}: "
                f"{m['months'][0]['mean']:.{digits}f} to {m['months'][-1]['mean']:.{digits}f} {m['unit']}, "
                f"change {signed(c['value'], digits)} ({signed(c['low'], digits)} to "
                f"{signed(c['high'], digits)})"
            )
    if found["form"]["measures"]:
        say(found["form"]["sentence"])


@app.command("compare-runs")
@remembered
def compare_runs(
    first: Annotated[str, typer.Argument(help="Number of a run, or a block of days as 2026-03-02..2026-03-29.")],
    second: Annotated[str, typer.Argument(help="The same, to be held against the first.")],
    scale: Scale = None,
    worthwhile: Worthwhile = None,
    date: Date = None,
    as_json: Json = False,
) -> None:
    """Any two runs or blocks of weeks: what changed at matched power, how surely, and what else differed."""
    from footwork.quantities import Estimate, describe

    with opened() as library:
        found = library.compare_runs(first, second, scale=scale, worthwhile=worthwhile, date=day(date))
    if as_json:
        return out(found)
    say(found["sentence"])
    for side in ("first", "second"):
        s = found[side]
        say(
            f"{side.capitalize():<6} {len(s['runs'])} run{'s' if len(s['runs']) > 1 else ''}, {s['since']}"
            + (f" to {s['until']}" if s["until"] != s["since"] else "")
            + f", {s['minutes']} matched minutes"
        )
    m = found["matched"]
    say(f"Matched at {m['low_w']:.0f} to {m['high_w']:.0f} W; temperature {m['temperature']}.")
    for o in found["outcomes"]:
        e = Estimate.from_json(o["difference"])
        digits = 3 if e.unit == "m" else 1
        chance = (
            (
                f"; {100 * o['probability_worthwhile']:.0f} % that it is better by "
                f"{o['smallest_worthwhile_change']:g} {e.unit} and more"
            )
            if o["probability_worthwhile"] is not None
            else "; described only"
        )
        say(f"  {o['name'].replace('_', ' '):<30} {describe(e, digits)}{chance if e.value is not None else ''}")
    say(f"Prior: {found['prior']}.")
    return None


@trial.command("new")
def new_trial(
    change: Annotated[
        str | None, typer.Argument(help="What is tried, as 'blue shoes', 'arms low'; none with --cadence.")
    ] = None,
    usual: Annotated[str, typer.Option(help="What it is held against.")] = "as usual",
    other: Annotated[list[str] | None, typer.Option(help="A further condition; may be given again.")] = None,
    cadence: Annotated[
        str | None, typer.Option(help="Several cadences against the usual, per cent: '-8,-4,0,4,8'.")
    ] = None,
    pace: Annotated[
        str | None, typer.Option(help="Pace of every block, as 5:00/km; your usual easy one by default.")
    ] = None,
    outcome: Annotated[
        str, typer.Option(help="Primary outcome: heart_rate, oxygen_uptake or exertion (both entered).")
    ] = "heart_rate",
    block: Annotated[str, typer.Option(help="Length of a block.")] = "6:00",
    rest: Annotated[str, typer.Option(help="Wash-out between blocks.")] = "2:00",
    warm_up: Annotated[str, typer.Option(help="Warm-up before the first block.")] = "10:00",
    repeats: Annotated[int, typer.Option(help="How often a run holds the order and its mirror.")] = 1,
    runs: Annotated[int | None, typer.Option(help="How many runs; as many as find the effect by default.")] = None,
    effect: Annotated[
        float | None,
        typer.Option(
            help="True effect to be found, in the outcome's unit; twice the smallest worthwhile one by default."
        ),
    ] = None,
    power: Annotated[float, typer.Option(help="Chance of finding it.")] = 0.8,
    course: Annotated[str, typer.Option(help="Where, in words.")] = "",
    seed: Annotated[int | None, typer.Option(help="For the same orders again.")] = None,
    date: Annotated[str | None, typer.Option(help="Day of the design; today by default.")] = None,
    as_json: Json = False,
) -> None:
    """Design a fair trial of a change and keep it: blocks, balanced orders, how many runs it takes."""
    from footwork.quantities import parse_duration, parse_pace
    from footwork.questions import trials

    def seconds(text: str) -> float:
        return 0.0 if text.strip() in ("0", "0:00") else parse_duration(text)

    try:
        cadences = [float(v) for v in cadence.split(",")] if cadence else []
    except ValueError:
        raise UsageError(f"'{cadence}' are no cadences: write per cent with commas between, as '-8,-4,0,4,8'") from None
    if not change and not cadences:
        raise UsageError("say what is tried, as 'blue shoes', or give --cadence")
    with opened() as library:
        designed = library.design_trial(
            change or "cadence",
            usual,
            others=other or [],
            cadences=cadences,
            speed=parse_pace(pace) if pace else None,
            outcome=outcome.strip().lower().replace("-", "_"),
            block_s=seconds(block),
            rest_s=seconds(rest),
            warm_s=seconds(warm_up),
            repeats=repeats,
            runs=runs,
            effect=effect,
            power=power,
            course=course,
            seed=seed,
        )
        number = library.new_trial(designed, day(date))
        kept = trials.kept_trial(library, number)
        imperial, held = library.setting("units") == "imperial", held_back(library.health())
    if as_json:
        return out(kept)
    say(
        f"Trial {number}: {kept['conditions'][0]} against {', '.join(kept['conditions'][1:])} (footwork edit "
        f"undo {number} takes it back)."
    )
    _designed(kept, imperial, held)
    return None


def _designed(kept: dict[str, Any], imperial: bool, held: str | None) -> None:
    from footwork.questions import trials

    say(trials.trial_told(kept, imperial))
    for k in range(len(kept["orders"])):
        say(f"  run {k + 1:>2}: {trials.order_words(kept, k)}")
    say(
        f"Where: {kept['course']}. After each run: footwork trial join {kept['id']} RUN; then footwork trial "
        f"analyse {kept['id']}."
    )
    for text in filter(None, [held, *kept["cautions"]]):
        say(f"Note: {text}")


@trial.command("list")
@remembered
def list_trials(as_json: Json = False) -> None:
    """Kept trials and the runs that were run for them."""
    with opened() as library:
        found = library.trials()
    if as_json:
        return out(found)
    if not found:
        say("No trial is kept: footwork trial new 'blue shoes' --usual 'grey shoes'")
    for t in found:
        done = ", ".join(str(j["run"]) for j in t["joined"]) or "none yet"
        say(
            f"{t['id']:>4}  {t['date']}  {t['conditions'][0]} against {', '.join(t['conditions'][1:])}; "
            f"{len(t['joined'])} of {t['runs']} runs: {done}"
        )
    return None


@trial.command()
def join(
    number: Annotated[int, typer.Argument(help="The trial.")],
    run: Annotated[int, typer.Argument(help="The run.")],
    order: Annotated[
        int | None, typer.Option(help="Which of the trial's orders was run, from 1; the next by default.")
    ] = None,
    begin: Annotated[
        str | None,
        typer.Option(
            help="When the first block began, as 12:00, or each of them, commas between; laps or the design tell "
            "it otherwise, again with --begin laps."
        ),
    ] = None,
    exertion: Annotated[str | None, typer.Option(help="Exertion of each block, 0 to 10, commas between.")] = None,
    oxygen: Annotated[str | None, typer.Option(help="Oxygen uptake of each block, ml/kg/min, commas between.")] = None,
    as_json: Json = False,
) -> None:
    """Say that a run was run for a trial."""
    from footwork.quantities import parse_duration
    from footwork.questions import trials

    def clock(text: str) -> float:
        return 0.0 if re.fullmatch(r"0+(:0+)*", text) else parse_duration(text)

    def values(text: str | None) -> list[float]:
        try:
            return [float(v) for v in text.split(",")] if text else []
        except ValueError:
            raise UsageError(f"'{text}' are no numbers with commas between") from None

    begins = (
        None
        if begin is None
        else []
        if begin.strip().lower() == "laps"
        else [clock(b.strip()) for b in begin.split(",")]
    )
    with opened() as library:
        edit = library.join_trial(
            number, run, order, begin_s=begins, exertion=values(exertion), oxygen_uptake=values(oxygen)
        )
        kept = trials.kept_trial(library, number)
    if as_json:
        return out(kept)
    say(
        f"Run {run} is one of {len(kept['joined'])} of the {kept['runs']} runs of trial {number} (footwork "
        f"edit undo {edit} takes it back)."
    )
    return None


@trial.command()
@remembered
def analyse(
    number: Annotated[int, typer.Argument(help="The trial.")],
    show: Annotated[bool, typer.Option("--show", help="Every block with its condition.")] = False,
    date: Date = None,
    as_json: Json = False,
) -> None:
    """What a trial tells so far: the effect with its interval and a plain verdict."""
    from footwork.quantities import Estimate, describe, format_duration

    with opened() as library:
        found = library.analyse_trial(number, day(date))
    if as_json:
        return out(found)
    say(found["sentence"])
    for part in (found["primary"], *found["secondary"]):
        for e in part["effects"]:
            chance = (
                ""
                if e["probability_better"] is None
                else (
                    f"; {100 * e['probability_better']:.1f} % that it is better, "
                    f"{100 * e['probability_worse']:.1f} % that it is worse, by "
                    f"{e['smallest_worthwhile_change']:g} {part['unit']} and more"
                )
            )
            say(
                f"  {part['outcome'].replace('_', ' ')}, {e['condition']}: "
                f"{describe(Estimate.from_json(e['difference']), 1)} ({part['blocks']} blocks){chance}"
            )
    say(
        f"Spread of a block {found['spread']['within']:.1f} {found['spread']['unit']}, of the effect from run "
        f"to run {found['spread']['between_runs']:.1f}. {found['corrected']}"
    )
    if show:
        names = found["trial"]["conditions"]
        for b in found["blocks"]:
            rate = f"{b['heart_rate']:.1f} bpm" if b["heart_rate"] is not None else "no heart rate"
            speed = f"{b['speed']:.2f} m/s" if b["speed"] is not None else ""
            say(
                f"  run {b['run']} block {b['block']} from {format_duration(b['start_s'])}  "
                f"{names[b['condition']]:<16} {rate}  {speed}"
            )
    for text in found["warnings"]:
        say(f"Note: {text}")
    return None


@trial.command("export")
def export_trial(
    number: Annotated[int, typer.Argument(help="The trial.")],
    order: Annotated[int, typer.Option(help="Which run's order, from 1, for the watch.")] = 1,
    fit: Annotated[Path | None, typer.Option(help="FIT workout of that run.")] = None,
    pdf: Annotated[Path | None, typer.Option(help="PDF sheet of the whole trial.")] = None,
) -> None:
    """Take a trial along: a workout for the watch, a sheet to print."""
    from footwork.maintenance import export
    from footwork.questions import trials
    from footwork.reports import trial_sheet

    for path, ending in ((fit, ".fit"), (pdf, ".pdf")):
        if path is not None:
            export.check_out(path, ending)
    if fit is None and pdf is None:
        raise UsageError("say what to write: --fit or --pdf")
    with opened() as library:
        kept = trials.kept_trial(library, number)
        made = trials.trial_workout(kept, order - 1) if fit is not None else b""
        if pdf is not None:
            export.write_whole(pdf, trial_sheet(kept, library.setting("units") == "imperial"))
        if fit is not None:
            export.write_whole(fit, made)
    for path in (fit, pdf):
        if path is not None:
            say(f"Wrote {path}.")
