"""Where the level of a series changes: the exact least-squares division, with a price on each further change.

Our own and not a library's because the kept ones load a statistics package of half a second to a second first, at every
question about a run; they check it in the tests.
"""

from __future__ import annotations

import numpy as np

from footwork.quantities import Floats


def change_points(values: Floats, penalty: float, shortest: int = 4) -> list[int]:
    """Ends of the pieces of constant mean that together cost least, the last one the length of the series.

    Optimal partitioning: Jackson and others 2005, IEEE Signal Processing Letters 12:105.

    Parameters
    ----------
    values : numpy.ndarray, shape (n,)
    penalty : float
        What a further change must be worth in squared error.
    shortest : int
        Least number of values between changes.
    """
    n = len(values)
    if n < 2 * shortest:
        return [n]
    centred = values - np.mean(values)
    total = np.concatenate([[0.0], np.cumsum(centred)])
    length = np.arange(n, 0, -1.0)  # of a piece from each start to the end, the last of them
    before = np.full(n + 1, np.inf)  # what the pieces up to a start cost, less the squares until there
    before[0] = 0.0
    previous = [0] * (n + 1)
    for end in range(shortest, n + 1):
        starts = end - shortest + 1
        gap = total[end] - total[:starts]
        cost = before[:starts] - gap * gap / length[n - end : n - end + starts]
        previous[end] = best = int(cost.argmin())
        before[end] = cost[best] + penalty
    ends = [n]
    while previous[ends[-1]]:
        ends.append(previous[ends[-1]])
    return ends[::-1]
