"""Optimal control by direct transcription: a chain of stages with states and controls, solved by IPOPT through CasADi.

The race optimum and the published problems that check it go through this one routine.
"""

from __future__ import annotations

import time as clock
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from footwork.quantities import Floats

METHOD_VERSION = 1
TOLERANCE = 1e-7
MOST_ITERATIONS = 400


@dataclass(frozen=True)
class Solution:
    """States and controls at the nodes (shape (n + 1, states), (controls nodes, controls)), the free scalar, and how it
    ended.

    ``status`` is ``converged`` or the reason why not; ``residual`` the largest of the scaled optimality errors.
    """

    states: Floats
    controls: Floats
    scalar: float
    objective: float
    status: str
    iterations: int
    seconds: float
    residual: float


def solve(
    stages: int,
    states: Sequence[tuple[float, float, float]],
    controls: Sequence[tuple[float, float, float]],
    stage: Callable[[Any, Any, Any, Any, Any, Any], tuple[Sequence[Any], Sequence[Any], Any]],
    parameters: Floats,
    start: Sequence[float | None],
    end: Sequence[float | None],
    guess: tuple[Floats, Floats],
    scalar: tuple[float, float, float] | None = None,
    terminal_cost: Callable[[Any, Any], Any] | None = None,
) -> Solution:
    """Minimise the sum of stage costs and a terminal cost.

    Parameters
    ----------
    stages : int
        n; states live at n + 1 nodes, controls at n + 1 nodes (a stage sees both of its ends).
    states, controls : sequence of (lower, upper, scale)
        Bounds and size of each, in any units.
    stage : callable
        ``stage(x0, x1, u0, u1, scalar, row) -> (defects, inequalities, cost)``: symbols at both ends of a stage, the
        free scalar and a row of ``parameters`` (symbols too). Defects are to be zero, inequalities at most zero.
    parameters : numpy.ndarray, shape (n, p)
    start, end : sequence of float or None
        State values that are fixed.
    guess : (numpy.ndarray (n + 1, states), numpy.ndarray (n + 1, controls))
        Where to begin.
    scalar : (lower, upper, guess), optional
        A free scalar such as the final time.
    terminal_cost : callable, optional
        ``terminal_cost(last state, scalar)``.
    """
    import casadi as ca

    begin = clock.perf_counter()
    ns, nu, n = len(states), len(controls), stages
    scale_x, scale_u = (np.array([s[2] for s in kind]) for kind in (states, controls))
    x0, x1 = ca.SX.sym("x0", ns), ca.SX.sym("x1", ns)
    u0, u1 = ca.SX.sym("u0", nu), ca.SX.sym("u1", nu)
    free, row = ca.SX.sym("t"), ca.SX.sym("p", parameters.shape[1])
    defects, limits, cost = stage(x0 * scale_x, x1 * scale_x, u0 * scale_u, u1 * scale_u, free, row)
    piece = ca.Function(
        "stage", [x0, x1, u0, u1, free, row], [ca.vertcat(*defects) / scale_x, ca.vertcat(*limits), cost]
    )
    x, u, t = ca.MX.sym("x", ns, n + 1), ca.MX.sym("u", nu, n + 1), ca.MX.sym("t")
    chain = piece.map(n)
    gaps, over, costs = chain(x[:, :-1], x[:, 1:], u[:, :-1], u[:, 1:], ca.repmat(t, 1, n), ca.DM(parameters.T))
    objective = ca.sum2(costs)
    if terminal_cost is not None:
        objective = objective + terminal_cost(x[:, -1] * scale_x, t)
    variables = ca.vertcat(ca.vec(x), ca.vec(u), t)
    constraints = ca.vertcat(ca.vec(gaps), ca.vec(over))
    low_x = np.tile([s[0] for s in states], (n + 1, 1)).astype(float)
    high_x = np.tile([s[1] for s in states], (n + 1, 1)).astype(float)
    for index, values in ((0, start), (n, end)):
        for k, value in enumerate(values):
            if value is not None:
                low_x[index, k] = high_x[index, k] = value
    low_u, high_u = (np.tile([c[k] for c in controls], (n + 1, 1)).astype(float) for k in (0, 1))
    low_t, high_t, first_t = scalar or (0.0, 0.0, 0.0)

    def flat(a: Floats, b: Floats, last: float) -> Floats:
        return np.concatenate([(a / scale_x).ravel(), (b / scale_u).ravel(), [last]])

    made = ca.nlpsol(
        "race",
        "ipopt",
        {"x": variables, "f": objective, "g": constraints},
        {
            "print_time": False,
            "ipopt": {
                "print_level": 0,
                "sb": "yes",
                "tol": TOLERANCE,
                "max_iter": MOST_ITERATIONS,
                "acceptable_iter": 0,
            },
        },
    )
    number = int(gaps.numel())
    found = made(
        x0=flat(*guess, first_t),
        lbx=flat(low_x, low_u, low_t),
        ubx=flat(high_x, high_u, high_t),
        lbg=np.concatenate([np.zeros(number), np.full(int(over.numel()), -np.inf)]),
        ubg=0.0,
    )
    stats = made.stats()
    answer = np.array(found["x"], dtype=float).ravel()
    log = stats.get("iterations") or {}
    residual = max((float(log[name][-1]) for name in ("inf_pr", "inf_du") if log.get(name)), default=float("inf"))
    return Solution(
        answer[: ns * (n + 1)].reshape(n + 1, ns) * scale_x,
        answer[ns * (n + 1) : -1].reshape(n + 1, nu) * scale_u,
        float(answer[-1]),
        float(found["f"]),
        "converged" if stats["success"] else str(stats["return_status"]).replace("_", " ").lower(),
        int(stats["iter_count"]),
        clock.perf_counter() - begin,
        residual,
    )
