"""Heart rate against power along one run."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from footwork.analysis import response
from footwork.analysis.quantiles import student
from footwork.analysis.summary import AT
from footwork.errors import NotEnoughData
from footwork.history.log import entries
from footwork.history.scales import conversions
from footwork.quantities import Estimate, plain
from footwork.questions.progress import season_model
from footwork.questions.progress.season_model import Season
from footwork.results.progress import RunDrift
from footwork.wording import progress_words

if TYPE_CHECKING:
    from footwork.history.book import History


def drift_within(library: History, run_id: int) -> RunDrift:
    """Heart rate against power along one run, apart from pacing and, where the season's model knows it, heat; plain
    JSON.

    Returns
    -------
    dict
        ``drift`` [bpm an hour at the same power] as an estimate, ``usual`` drift of the runner's runs, ``points`` every
        minute (``elapsed_s``, heart rate at the run's mean power ``heart_rate_bpm``), ``power_w``, ``sentence``.

    Raises
    ------
    NotEnoughData
        Under 25 settled minutes with heart rate and power.
    """
    row = entries.library_row(library, run_id)
    if row.scale_key is None:
        raise NotEnoughData(f"run {run_id} has no power")
    mine = next((r for r in conversions.rows_on_scale(library, row.scale_key) if r.run == run_id), None)
    if mine is None:
        raise NotEnoughData(f"run {run_id} is left out of analysis, or has no power")
    try:
        of: Season | None = season_model.season(library, date=row.local.date(), scale=row.power_scale)
    except NotEnoughData:
        of = None
    tau, border, edge = (
        (of.model.tau, of.border, of.model.border)
        if of
        else ((40.0, 40.0), season_model.guessed_border([mine]), 0.85 * season_model.guessed_border([mine]))
    )
    told = season_model.model_rows(library, [mine])[0]
    x, since = response.answered(mine.blocks[:, AT["power"]], mine.blocks[:, AT["elapsed"]], tau, edge)
    kept = response.usable(told, x, since, border) & (mine.blocks[:, AT["elapsed"]] >= 600)
    if kept.sum() < 25:
        raise NotEnoughData(
            f"run {run_id} has {int(kept.sum())} settled minutes with heart rate after the first ten: drift needs 25"
        )
    y, hours, p = mine.blocks[kept][:, AT["heart_rate"]], mine.blocks[kept][:, AT["elapsed"]] / 3600, x[kept]
    slope, slope_sd = (float(of.model.mean[0]), float(np.sqrt(of.model.covariance[0, 0]))) if of else (0.35, 0.15)
    grade = 100 * np.nan_to_num(mine.blocks[kept][:, AT["grade"]])
    design = np.column_stack(
        [np.ones(len(y)), p - p.mean(), hours - hours.mean(), np.maximum(grade, 0), np.minimum(grade, 0)]
    )
    # The runner's own slope of heart rate on power is known far better than one run tells it.
    prior = np.diag([0.0, 1 / max(slope_sd, 0.02) ** 2, 0.0, 1 / 0.5**2, 1 / 0.5**2])
    beta, covariance, free = response.alike(y, design, prior, prior @ np.array([0.0, slope, 0.0, 0.0, 0.0]))
    half = float(student(0.975, free) * np.sqrt(covariance[2, 2]))
    drift = Estimate(
        float(beta[2]), float(beta[2]) - half, float(beta[2]) + half, "bpm/h", int(kept.sum()), "within-run", "minutes"
    )
    usual = None
    if of is not None:
        warm = mine.sky.temperature
        at, sd = of.model.drift(None if warm is None else max(warm - response.COOL_C, 0.0))
        sd = float(np.hypot(sd, of.model.drift_sd))
        usual = Estimate(at, at - 1.96 * sd, at + 1.96 * sd, "bpm/h", of.model.runs, "within-run", "runs")
    points = y - design[:, [1, 3, 4]] @ beta[[1, 3, 4]]
    out: dict[str, Any] = plain(
        {
            "run": run_id,
            "power_w": float(p.mean()),
            "drift": drift,
            "usual": usual,
            "points": [
                {"elapsed_s": float(h * 3600), "heart_rate_bpm": float(v)} for h, v in zip(hours, points, strict=True)
            ],
            "sentence": progress_words.drift_sentence(drift, usual, float(p.mean()), mine.sky.temperature),
        }
    )
    return RunDrift(**out)
