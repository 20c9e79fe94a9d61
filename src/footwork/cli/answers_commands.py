"""Questions about what the runner can hold and run, and how each number is known."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from footwork.cli.common import (
    Date,
    Efforts,
    Json,
    Mass,
    Scale,
    app,
    asked,
    day,
    opened,
    out,
    plural,
    remembered,
    say,
    way_out,
)
from footwork.errors import UsageError
from footwork.wording.cautions import before_hard_work, held_back


@app.command()
@remembered
def capacity(
    effort: Efforts = None,
    date: Date = None,
    scale: Scale = None,
    mass: Mass = None,
    since: Annotated[
        str | None, typer.Option(help="With --until: best efforts, domains and CP-minutes of this span instead.")
    ] = None,
    until: Annotated[str | None, typer.Option(help="End of the span, YYYY-MM-DD.")] = None,
    history: Annotated[
        bool, typer.Option("--history", help="How it got here: month by month, what moved it, which test tells most.")
    ] = False,
    accept: Annotated[float | None, typer.Option(help="Accept this CP in watts, from --date or today on.")] = None,
    withdraw: Annotated[str | None, typer.Option(help="Take back the CP accepted on this date, YYYY-MM-DD.")] = None,
    card: Annotated[
        Path | None, typer.Option(help="Write a PDF for the fridge: domains and usual running in watts, pace, bpm.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Critical power, W′ and domains, each with its interval and evidence."""
    from footwork.maintenance import export
    from footwork.quantities import format_duration

    if card is not None:
        export.check_out(card, ".pdf")
    with asked(effort) as library:
        if accept is not None:
            entry = library.accept(accept, day(date), scale)
            if not as_json:
                say(f"Accepted {entry['critical_power_w']:.0f} W on {entry['scale']} from {entry['date']} on.")
        if withdraw is not None:
            gone = library.withdraw(day(withdraw), scale)
            if not gone:
                raise UsageError(f"nothing was accepted on {withdraw} on that scale")
        made = library.capacity(effort or (), day(date), scale, mass)
        result = made.to_json() if effort else library.history(day(date), scale)
        span = None
        if since or until:
            span = {"since": since, "until": until, **library.load(day(since), day(until))}
            result["curve"] = library.best_curve(day(since), day(until), made.scale_key or scale)
            result["span"] = span
        imperial, held = library.setting("units") == "imperial", held_back(library.health())
        pause = "" if effort or date else library.pause()
        if card is not None:
            from footwork import reports

            told = reports.numbers_of(library, made, imperial)
            export.write_whole(card, reports.numbers_card(told))
            result["card"] = told
    if as_json:
        return out(result)
    _capacity(made, imperial)
    _best(result["curve"])
    if span:
        spent = ", ".join(f"{n} {format_duration(s)}" for n, s in span["seconds_in_domains"].items())
        say(
            f"{plural(span['runs'], 'run')} in the span: {spent}; {span['cp_minutes']:.0f} CP-minutes "
            f"({span['critical_power']})."
        )
    if history and "history" in result:  # stated efforts have none
        _history(result)
    for text in filter(None, [pause, made.extrapolated, *made.warnings]):
        say(f"Note: {text}")
    if card is not None:
        say(f"Wrote {card}. {result['card']['holds']}")
    return _proposed(made.evidence["kind"], held, history and bool(result.get("tests")))


def _proposed(kind: str, held: str | None, tests: bool) -> None:
    """A test, where nothing else settles critical power, and the caution that goes with it or holds it back."""
    if held:
        return say(f"Caution: {held}{way_out(held)}")
    if kind in ("lower bound", "none", "habitual"):
        tests = True
        say(
            "A test or race settles it: run 3, 7 and 12 minutes all you can on rested days, warmed up, then mark the "
            "run (footwork session shelf)."
        )
    return say(f"Caution: {before_hard_work('test')}") if tests else None


def _capacity(made: Any, imperial: bool) -> None:
    """The numbers, each with its interval; those that are not known are left out."""
    from footwork.quantities import describe, format_pace

    say(f"As of {made.date}" + (f", on {made.scale}" if made.scale else "") + f": {made.evidence['sentence']}.")
    say(f"Critical power   {describe(made.critical_power, 0, made.evidence['kind'])}")
    if made.accepted is not None:
        say(
            f"Accepted         {made.accepted['critical_power_w']:.0f} W from {made.accepted['date']}: "
            "domains and load use it"
        )
    if made.w_prime.value is not None:
        say(f"W′               {describe(made.w_prime.scaled(1e-3, 'kJ'), 1)}")
        say(f"Tail γ           {describe(made.tail, 3)}")
    if made.critical_speed.value is not None:
        ends = [
            format_pace(v, imperial)
            for v in (made.critical_speed.value, made.critical_speed.high or 0, made.critical_speed.low or 0)
        ]
        say(f"Critical speed   {ends[0]}  {ends[1]} to {ends[2]}")
    for name, border in made.domains.items():
        if border["power"].value is not None or border["speed"].value is not None:
            say(_border(name, border, imperial))
    if made.forms:
        told = (
            f"{f['form']} ({f['error_in']}) CP {describe(f['critical_power'])}, W′ "
            f"{describe(f['w_prime'].scaled(1e-3, 'kJ'), 1)}"
            for f in made.forms
        )
        say("Forms (error in): " + "; ".join(told))


def _border(name: str, border: dict[str, Any], imperial: bool) -> str:
    from footwork.quantities import describe, format_pace

    power, s, rate = border["power"], border["speed"], border["heart_rate"]
    text = f"{name.replace('_', ' to '):<20}" + (f" {describe(power)}" if power.value is not None else "")
    if s.value is not None:
        fast, slow = (format_pace(v, imperial).split()[0] for v in (s.high, s.low))
        text += f"; {format_pace(s.value, imperial)}  {fast}–{slow}"
    if rate.value is not None or name != "severe_extreme":
        text += f"; heart rate {describe(rate)}"
    return text


def _best(curve: list[dict[str, Any]]) -> None:
    from footwork.quantities import format_duration

    points = {c["duration_s"]: c for c in curve}
    told = (
        f"{format_duration(d)} {points[d]['power_w']:.0f} W (run {points[d]['run']})"
        for d in (60, 180, 420, 720, 1200, 3600)
        if d in points
    )
    if points:
        say("Best: " + ", ".join(told))


def _history(result: dict[str, Any]) -> None:
    """The first proposal of each month, what moved it, and the tests by what they would tell."""
    seen: set[str] = set()
    for row in result["history"]:
        if row["date"][:7] not in seen:
            seen.add(row["date"][:7])
            cp = row["critical_power"]
            shown = "withheld" if cp["value"] is None else f"{cp['value']:.0f} W  {cp['low']:.0f}–{cp['high']:.0f}"
            say(f"{row['date']}  {shown}, {row['evidence']}")
    for row in result["moved"][:10]:
        run = f"run {row['run']}" if row["run"] else row["label"]
        say(f"Moved on {row['date']} by {run} ({row['kind']}): {row['before_w']:.0f} to {row['after_w']:.0f} W")
    for row in result["tests"]:
        say(
            f"A test of {row['test']} would narrow the interval from ±{row['half_width_now_w']:.0f} to about "
            f"±{row['half_width_after_w']:.0f} W"
        )


@app.command()
@remembered
def today(
    date: Annotated[str | None, typer.Option(help="As that day knew it, YYYY-MM-DD; by default today.")] = None,
    as_json: Json = False,
) -> None:
    """What to do next and why, six weeks and their load, the newest run's verdict, and what is due."""
    from footwork.quantities import Estimate, describe
    from footwork.questions import today
    from footwork.wording.session_verdicts import doubt_to_finish

    with opened() as library:
        found = library.today(day(date))
        imperial = library.setting("units") == "imperial"
    if as_json:
        return out(found)
    if not found["runs"]:
        say(today.due_sentence(found, imperial))
        return None
    again = found["reason"].startswith(found["headline"])
    say(found["reason"] if again else f"{found['headline']}. {found['reason']}".rstrip())
    say(today.due_sentence(found, imperial))
    newest = found["newest"]
    told = " ".join(t for t in (newest["against_session"], newest["against_usual"]) if t)
    say(f"Newest run       {newest['id']}, {newest['date'][:10]}: {newest['title'] or 'a run'}. {told}".rstrip())
    for r in found["next"]:
        part = "its hardest part " if "," in r["text"] else ""  # steps stand with commas between
        watts = f", {part}at {r['power_w']:.0f} W" if r["power_w"] else ""
        doubt = doubt_to_finish(r["run_dry_probability"])
        watts = ". Kept, but not now." if r["not_now"] else f"{watts}. {doubt}." if doubt else watts
        say(f"Session {r['id']:<8} {r['date']}: {r['name'] + ': ' if r['name'] else ''}{r['text']}{watts}")
    if found["caution"]:
        say(found["caution"])
    usual = found["usual_week"]
    for week in found["weeks"]:
        load = describe(Estimate.from_json(week["load"])) if week["runs"] else "no run"
        say(f"Week {week['monday']}  {plural(week['runs'], 'run') + ', ' if week['runs'] else ''}{load}")
    if usual:
        half = f"half of {usual['weeks']} weeks {usual['low']:.0f} to {usual['high']:.0f}"
        say(f"Usual week       {usual['cp_minutes']:.0f} CP-min, {half}")
    say(f"Critical power   {describe(Estimate.from_json(found['critical_power']), 0, found['kind'])}")
    for item in found["due"]:
        say(f"Due: {item['what']}: {item['why']}.{way_out(item['why'])}")
        if "caution" in item:
            say(f"  {item['caution']}")
    return None


@app.command()
@remembered
def numbers(
    date: Date = None,
    scale: Scale = None,
    card: Annotated[Path | None, typer.Option(help="Write them as a PDF for the fridge.")] = None,
    as_json: Json = False,
) -> None:
    """My numbers: each domain and usual running in watts, pace and heart rate, and flat watts at round paces."""
    from footwork import reports
    from footwork.maintenance import export

    if card is not None:
        export.check_out(card, ".pdf")
    with opened() as library:
        told = reports.numbers_of(
            library, library.capacity((), day(date), scale), library.setting("units") == "imperial"
        )
        if card is not None:
            export.write_whole(card, reports.numbers_card(told))
    if as_json:
        return out(told)
    if told["withheld"]:
        say(f"Critical power is withheld on {told['scale']}: {told['withheld']}.")
    else:
        say(f"Critical power {told['cp']} on {told['scale']}: {told['evidence']}. {told['holds']}")
    for row in told["domains"]:
        rate = f"  {row['rate']} bpm" if row["rate"] else ""
        say(f"{row['name']:<24} {row['watts']:>9} W  {row['pace']:>11} flat{rate}")
    for row in told["usual"]:
        flat = f", {row['flat']} on the flat" if row["flat"] else ""
        rate = f"  {row['rate']} bpm" if row["rate"] else ""
        say(f"usual {row['name']:<18} {row['watts']:>9} W  {row['pace']:>11} as run{flat}{rate}")
    for row in told["paces"]:
        say(f"flat at {row['pace']:<16} {row['watts']:>9} W  ±{row['days']} W on nineteen days in twenty")
    for note in filter(None, [told["differ"], *told["notes"]]):
        say(f"Note: {note}")
    if card is not None:
        say(f"Wrote {card}. {told['holds']}")
    return None


@app.command()
@remembered
def usual(
    date: Date = None,
    scale: Scale = None,
    run: Annotated[int | None, typer.Option(help="This run against what was usual before it.")] = None,
    as_json: Json = False,
) -> None:
    """Usual watts for easy, steady and hard running, and how the newest run compares."""
    from footwork.quantities import format_pace

    if run is not None:
        with opened() as library:
            alone = library.run_against_usual(run)
        return out(alone) if as_json else say(f"Run {run}, {alone['date']}: {alone['sentence']}")
    with opened() as library:
        found = library.usual(day(date), scale)
        imperial = library.setting("units") == "imperial"
    if as_json:
        return out(found)
    newest = found["newest"]
    say(f"As of {found['date']}, on {found['scale']}." + (f" {newest['sentence']}" if newest else ""))
    if found["reason"]:
        say(f"{found['reason'][0].upper()}{found['reason'][1:]}.")
    for group in found["groups"]:
        power = group["power"]
        if power["value"] is None:
            say(f"{group['name']:<8} withheld: {power['reason']}")
            continue
        rate = group["heart_rate"]
        text = (
            f"{group['name']:<8} {power['value']:.0f} W  {power['low']:.0f}–{power['high']:.0f}, from run to run "
            f"SD {group['spread_w']:.0f} W; {format_pace(group['speed']['value'], imperial)}"
        )
        say(text + (f"; {rate['value']:.0f} bpm" if rate["value"] is not None else "") + f" ({group['runs']} runs)")
    for row in found["at_pace"]:
        p = row["power"]
        say(
            f"flat at {format_pace(row['speed_mps'], imperial)}: {p['value']:.0f} W  "
            f"{p['low']:.0f}–{p['high']:.0f}, day to day SD {row['spread_w']:.0f} W"
        )
    for row in found["effects"]:
        e = row["effect"]
        if e["value"] is not None:
            say(f"{row['change']}: {e['value']:+.1f} {e['unit']} {row['of']}  {e['low']:+.1f} to {e['high']:+.1f}")
    for row in found["runs"][1:]:
        if row["power_unusual"] or row["heart_rate_unusual"]:
            say(f"{row['date']}, run {row['run']}: {row['sentence']}")
    return None


@app.command()
@remembered
def compare(
    what: Annotated[list[str], typer.Argument(help="Number of a run with two devices, or two files.")],
    first: Annotated[int, typer.Option(help="Which recording of the run is the first.")] = 1,
    second: Annotated[int, typer.Option(help="Which is the second; differences are second minus first.")] = 2,
    full: Annotated[bool, typer.Option("--full", help="Every signal at every span, and power by parts.")] = False,
    as_json: Json = False,
) -> None:
    """Two devices on one run: clocks, agreement, and whether to mix their watts."""
    from footwork.questions import devices
    from footwork.questions.devices import SIGNALS

    if len(what) == 1 and what[0].isdigit():
        with opened() as library:
            found = library.compare(int(what[0]), first, second)
    elif len(what) == 2 and all(w.isdigit() and not Path(w).exists() for w in what):
        raise UsageError(f"two runs are held against each other by 'footwork compare-runs {' '.join(what)}'")
    elif len(what) == 2:
        found = devices.compare_files([Path(w) for w in what])
    else:
        raise UsageError("name one run by its number, or two files")
    if as_json:
        return out(found)
    say(found["verdict"])
    say(f"First: {found['first']}. Second: {found['second']}. {found['common_s'] / 60:.0f} minutes together.")
    lag = found["lag"]
    say(
        f"The second clock is {lag['value']:+.1f} s late  {lag['low']:+.1f} to {lag['high']:+.1f}, by "
        f"{found['lag_by'].replace('_', ' ')}."
    )
    spans = {"1 s": found, **found["levels"]}
    if not full and "30 s" in spans:
        spans = {"30 s": spans["30 s"]}
    for level, rows in spans.items():
        for name in SIGNALS:
            if name not in rows or (not full and name not in ("power", "heart_rate")):
                continue
            r = rows[name]
            low, high = r["limits_of_agreement"]["low"], r["limits_of_agreement"]["high"]
            say(
                f"{name.replace('_', ' ')} at {level}: bias {_signed(r['bias'])}; limits {_signed(low)} and "
                f"{_signed(high)}; concordance {r['concordance']['value']:.3f}, intraclass (2,1) "
                f"{r['intraclass']['2,1']:.3f}; "
                f"line {r['deming']['slope']['value']:.3f} times {r['deming']['intercept']['value']:+.1f}; "
                f"typical error {r['typical_error']['value']:.2f} {r['typical_error']['unit']}; "
                f"{r['n']} pairs worth {r['n_effective']:.0f}"
            )
    for name, reason in found["reasons"].items():
        say(f"{name.replace('_', ' ')}: not compared, {reason}.")
    for kind, parts in found["splits"].items():
        for p in parts if full or kind == "intensity" else ():
            say(f"power by {kind}, {p['part']}: bias {_signed(p['bias'])}, {_signed(p['bias_share'])}")
    if not full:
        say("Every signal, span and part: --full.")
    return None


def _signed(e: dict[str, Any]) -> str:
    digits = 3 if e["unit"] in ("m", "m/s") else 1
    return f"{e['value']:+.{digits}f} {e['unit']} ({e['low']:+.{digits}f} to {e['high']:+.{digits}f})"


@app.command()
def methods(
    name: Annotated[str | None, typer.Argument(help="Which method; all titles by default.")] = None,
    as_json: Json = False,
) -> None:
    """How each number is computed, from what, with which source."""
    from dataclasses import asdict

    from footwork.methods import METHODS

    if name is not None and name not in METHODS:
        raise UsageError(f"there is no method '{name}': {', '.join(METHODS)}")
    if as_json:
        return out({k: asdict(m) for k, m in METHODS.items() if name in (None, k)})
    for key, method in METHODS.items():
        if name is None:
            say(f"{key:<20} {method.title}")
        elif name == key:
            say(method.title)
            say(method.text)
            for line in [method.formula, *method.sources]:
                if line:
                    say(f"  {line}")
    return None
