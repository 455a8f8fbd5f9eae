"""What recordings are called side by side."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from processing.recording_names import told_apart

A_FEW_NAMES = st.sampled_from(["fern", "moss", "fern [2]", "fern (a)", "a", ""])


@pytest.mark.parametrize(
    ("instruments", "files", "called"),
    [
        (["fern", "moss"], ["a", "b"], ["fern", "moss"]),
        (["fern", "fern"], ["before", "after"], ["fern (before)", "fern (after)"]),
        (["fern", "fern", "moss"], ["a", "b", "c"], ["fern (a)", "fern (b)", "moss"]),
        (["fern", "fern"], ["", ""], ["fern [1]", "fern [2]"]),
        (["fern", "fern", "moss"], ["day", "day", "day"], ["fern (day) [1]", "fern (day) [2]", "moss [3]"]),
    ],
)
def test_a_name_is_the_instruments_and_the_files_where_it_is_needed(
    instruments: list[str], files: list[str], called: list[str]
) -> None:
    assert told_apart(instruments, files) == called


@given(pairs=st.lists(st.tuples(A_FEW_NAMES, A_FEW_NAMES), min_size=1, max_size=5))
def test_no_two_are_called_alike(pairs: list[tuple[str, str]]) -> None:
    names = told_apart([instrument for instrument, _ in pairs], [file for _, file in pairs])

    assert len(set(names)) == len(pairs)
