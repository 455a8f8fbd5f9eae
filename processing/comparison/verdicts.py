"""Many tests at once, and the two questions of each: does it differ, and is it as good as alike.

Sources: Holm, Scand. J. Stat. 6:65, 1979; two one-sided tests: Schuirmann, J. Pharmacokin. Biopharm. 15:657, 1987.
"""

from __future__ import annotations

from collections.abc import Sequence

from scipy.stats import t as student_t

from processing.statistics.correlated import Estimate


def holm(probabilities: Sequence[float]) -> list[float]:
    """Return each probability as it is among all of them, in the same order: under alpha is under alpha for the family.

    >>> holm([0.01, 0.04, 0.03])
    [0.03, 0.06, 0.06]
    """
    order = sorted(range(len(probabilities)), key=lambda index: probabilities[index])
    adjusted, so_far = [0.0] * len(probabilities), 0.0
    for rank, index in enumerate(order):
        so_far = max(so_far, min(1.0, (len(order) - rank) * probabilities[index]))
        adjusted[index] = so_far
    return adjusted


def p_equivalent(estimate: Estimate, margin: float) -> float:
    """Return the probability of so little a difference, or less, if the true one were the margin or more (TOST)."""
    if estimate.u == 0.0:
        return 0.0 if abs(estimate.value) < margin else 1.0
    return float(student_t.sf((margin - abs(estimate.value)) / estimate.u, estimate.dof))
