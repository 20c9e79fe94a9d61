"""A run joined to the trial it was run for."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from footwork.errors import UsageError
from footwork.history.log import entries
from footwork.quantities import format_duration
from footwork.questions.trials import trial_design
from footwork.questions.trials.trial_design import OUTCOMES

if TYPE_CHECKING:
    from footwork.history.book import History


def join_trial(
    library: History,
    number: int,
    run_id: int,
    order: int | None = None,
    begin_s: float | Sequence[float] | None = None,
    exertion: Sequence[float] = (),
    oxygen_uptake: Sequence[float] = (),
) -> int:
    """Say that a run was run for a trial, in which of its orders (from 1; the lowest that no run has taken by default),
    when its first block began, or each of them [s], and what was felt or measured in each block; of a run that is
    joined again, what is not said anew stays (an empty ``begin_s`` takes it back). Returns the edit's number.

    Raises
    ------
    UsageError
        No such trial, run or order, an order that another run took, a run of another trial, one whose blocks do not
        look like the design's, or values that are none.
    """
    from footwork.questions.trials import trial_blocks

    trial = trial_design.kept_trial(library, number)
    row = entries.library_row(library, run_id)
    if row.recording_id is None:
        raise UsageError(f"run {run_id} was entered by hand: a trial needs a recording")
    other = next(
        (
            t["id"]
            for t in trial_design.listed_trials(library)
            if t["id"] != number and any(j["run"] == run_id for j in t["joined"])
        ),
        None,
    )
    if other is not None:
        raise UsageError(f"run {run_id} was run for trial {other}")
    if order is not None and not 1 <= order <= len(trial["orders"]):
        raise UsageError(f"trial {number} has the orders 1 to {len(trial['orders'])}")
    taken = {j["order"]: j["run"] for j in trial["joined"] if j["run"] != run_id}
    before: dict[str, Any] = next((j for j in trial["joined"] if j["run"] == run_id), {})
    begin_s = begin_s if begin_s is not None else before.get("begin_s")
    exertion = exertion if len(exertion) else before.get("exertion", ())
    oxygen_uptake = oxygen_uptake if len(oxygen_uptake) else before.get("oxygen_uptake", ())
    free = before.get("order", next((k for k in range(len(trial["orders"])) if k not in taken), None))
    chosen = order - 1 if order is not None else free
    if chosen is None:
        raise UsageError(
            f"all {len(trial['orders'])} orders of trial {number} have been run: design another trial for more"
        )
    if chosen in taken:
        raise UsageError(f"order {chosen + 1} of trial {number} was run in run {taken[chosen]}")
    begins = (
        [] if begin_s is None else [float(begin_s)] if isinstance(begin_s, int | float) else [float(v) for v in begin_s]
    )
    if begins and (
        len(begins) not in (1, trial["blocks"])
        or any(b - a < trial["block_s"] - 5 for a, b in pairwise(begins))
        or not 0 <= begins[0] <= begins[-1] < row.elapsed_s
    ):
        raise UsageError(
            f"say when the first block began, or each of the {trial['blocks']} in order, within the "
            f"{format_duration(row.elapsed_s)} of run {run_id}"
        )
    for name, values in (("exertion", exertion), ("oxygen_uptake", oxygen_uptake)):
        _, _, low, high = OUTCOMES[name]
        if values and (len(values) != trial["blocks"] or not all(low <= v <= high for v in values)):
            raise UsageError(
                f"{name.replace('_', ' ')}: give {trial['blocks']} values, one a block, of {low:g} to {high:g}"
            )
    payload = {
        "trial": number,
        "order": chosen,
        "begin_s": begins or None,
        "exertion": list(exertion),
        "oxygen_uptake": list(oxygen_uptake),
    }
    _, odd = trial_blocks.blocks_of(library, trial, {**payload, "run": run_id})
    if odd:
        raise UsageError(f"run {run_id} does not look like one of trial {number}: {odd}")
    return entries.write(library, "trial-run", run_id, payload)
