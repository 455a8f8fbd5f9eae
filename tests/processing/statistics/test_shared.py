"""What all keys share: how it acts on sums over keys."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from processing.budget.lines import Budget, Correlation, Line
from processing.budget.propagation import combine
from processing.statistics.shared import SharedParts, joined, nothing_shared, shared_parts

WEIGHTS = st.lists(st.floats(-2.0, 2.0), min_size=4, max_size=4).map(np.array)


def a_line(name: str, u: float = 0.1, sensitivity: float = 1.0, dof: float = 9.0) -> Line:
    return Line(name=name, kind="A", distribution="t", u=u, unit="N", dof=dof, sensitivity=sensitivity)


def a_budget(*lines: Line, correlations: tuple[Correlation, ...] = ()) -> Budget:
    return Budget(measurand="down_weight", unit="N", value=0.5, lines=lines, correlations=correlations)


def some_parts(sensitivities: tuple[float, ...] = (1.0, 2.0, -3.0, 0.5)) -> SharedParts:
    return shared_parts([a_budget(a_line("scale", sensitivity=one), a_line("zero")) for one in sensitivities], OWN)


OWN = frozenset({"noise"})


def test_a_keys_own_lines_are_not_shared() -> None:
    parts = shared_parts([a_budget(a_line("noise"), a_line("scale"))], OWN)

    assert [line.name for line in parts.lines] == ["scale"]


def test_correlations_with_a_keys_own_lines_are_left_out() -> None:
    related = (Correlation("noise", "scale", 0.5), Correlation("scale", "bend", -0.9))
    parts = shared_parts([a_budget(a_line("noise"), a_line("scale"), a_line("bend"), correlations=related)], OWN)

    assert parts.correlations == related[1:]
    assert combine(parts.of_mean()).u == pytest.approx(np.sqrt(0.01 + 0.01 - 2 * 0.9 * 0.01))


@given(weights=WEIGHTS)
def test_a_sum_over_keys_suffers_by_the_sum_of_what_each_suffers(weights: np.ndarray) -> None:  # type: ignore[type-arg]
    lines = {line.name: line.contribution for line in some_parts().of(weights).lines}

    assert lines["scale"] == pytest.approx(0.1 * float(weights @ (1.0, 2.0, -3.0, 0.5)), abs=1e-12)
    assert lines["zero"] == pytest.approx(0.1 * float(weights.sum()), abs=1e-12)


@given(rows=st.lists(WEIGHTS, min_size=1, max_size=5))
def test_many_sums_at_once_are_as_one_by_one(rows: list[np.ndarray]) -> None:  # type: ignore[type-arg]
    related = (Correlation("scale", "bend", -0.9),)
    budgets = [
        a_budget(a_line("scale", sensitivity=one), a_line("bend", u=0.2, dof=4.0), a_line("zero"), correlations=related)
        for one in (1.0, 2.0, -3.0, 0.5)
    ]
    parts = shared_parts(budgets, OWN)
    us, dofs = parts.combined(np.array(rows))

    one_by_one = [combine(parts.of(row)) for row in rows]
    assert us == pytest.approx([one.u for one in one_by_one], abs=1e-12)
    sure = us > 1e-9  # of what is nothing but rounding nobody asks the degrees of freedom
    assert dofs[sure] == pytest.approx(np.array([one.dof for one in one_by_one])[sure], rel=1e-6)


@given(weights=WEIGHTS)
def test_the_same_keys_from_themselves_leave_nothing(weights: np.ndarray) -> None:  # type: ignore[type-arg]
    assert combine(joined([(some_parts(), weights), (some_parts(), -weights)])).u == pytest.approx(0.0, abs=1e-12)


def test_inputs_of_other_names_do_not_fall_out() -> None:
    ones, other = np.ones(4) / 4, some_parts().renamed({"scale": "scale, second", "zero": "zero, second"})
    apart = combine(joined([(some_parts(), -ones), (other, ones)]))

    assert apart.u == pytest.approx(np.sqrt(2) * combine(some_parts().of_mean()).u)


def test_an_input_that_is_less_sure_on_one_key_acts_more_there() -> None:
    parts = shared_parts([a_budget(a_line("smoothing", u=u)) for u in (0.1, 0.3)], OWN)

    assert [combine(parts.only([index]).of_mean()).u for index in (0, 1)] == pytest.approx([0.1, 0.3])
    assert combine(parts.of_mean()).u == pytest.approx(0.2)


def test_a_key_without_an_input_does_not_suffer_from_it() -> None:
    parts = shared_parts([a_budget(a_line("scale")), a_budget()], OWN)

    assert combine(parts.of_mean()).u == pytest.approx(0.05)


def test_keys_may_share_nothing() -> None:
    assert combine(nothing_shared("N", 3).of_mean()).u == 0.0
    assert combine(shared_parts([a_budget(a_line("noise"))] * 3, OWN).of_mean()).u == 0.0
