"""Plans and programmes as people write them: what they mean, and what is said of those that mean nothing."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.errors import MalformedPlan
from daq.plan import ORDERS, Order, describe, plan_visits, read_plan, visits_as_json, visits_from_json
from daq.programme import built_in_programmes, load_programme
from recordings.keys import ALL_KEYS, Key, parse_keys

SLOW, FULL = load_programme("slow"), load_programme("full")


def written(folder: Path, text: str, name: str = "plan.toml") -> Path:
    (folder / name).write_text(text)
    return folder / name


def test_a_plan_names_keys_programmes_and_order(tmp_path: Path) -> None:
    plan = """
        order = "right to left"
        [[visit]]
        keys = "C4..E4"
        [[visit]]
        keys = "D4"
        programme = "reset"
        """
    visits = read_plan(written(tmp_path, plan))

    assert [visit.key.name for visit in visits] == ["E4", "D#4", "D4", "C#4", "C4"]
    assert [[programme.name for programme in visit.programmes] for visit in visits[1:3]] == [
        ["slow"],
        ["slow", "reset"],
    ]


def test_a_programme_of_ones_own_is_sought_beside_the_plan(tmp_path: Path) -> None:
    written(tmp_path, 'name = "mine"\nsummary = "x"\n[[steps]]\ndo = "strokes"\ncount = 7\n', "mine.toml")
    (visit,) = read_plan(written(tmp_path, '[[visit]]\nkeys = "A0"\nprogramme = "mine.toml"\n'))

    assert describe((visit,)) == "mine: 7 x 4 mm/s to 4 N"


@given(st.sets(st.sampled_from(ALL_KEYS), min_size=1), st.sampled_from(ORDERS), st.integers(0, 5))
def test_whatever_the_order_every_key_is_visited_once(keys: set[Key], order: Order, seed: int) -> None:
    visits = plan_visits(((tuple(keys), SLOW),), order=order, seed=seed)

    assert sorted(visit.key for visit in visits) == sorted(keys)
    assert visits == plan_visits(((tuple(keys), SLOW),), order=order, seed=seed)


@pytest.mark.parametrize("by_hand", [True, False])
def test_a_plan_comes_back_from_the_diary_as_it_was(by_hand: bool) -> None:
    visits = plan_visits(((parse_keys("C4..E4"), SLOW), (parse_keys("D4"), FULL)))

    assert visits_from_json(visits_as_json(visits, by_hand=by_hand)) == (visits, by_hand)


@pytest.mark.parametrize("name", built_in_programmes())
def test_built_in_programmes_are_explained_in_the_readme(name: str) -> None:
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")

    assert f"| `{name}` |" in readme


def a_programme_with(entry: str, value: str) -> str:
    return f'name = "x"\nsummary = "y"\n[[steps]]\ndo = "strokes"\n{entry} = {value}\n'


@pytest.mark.parametrize(
    ("text", "said"),
    [
        pytest.param("order = ", "Invalid value", id="no TOML"),
        pytest.param("", "plan.toml: visit: is missing", id="empty"),
        pytest.param(
            '[[visit]]\nkeys = "C4"\nspeed = 3',
            "plan.toml, line 3: visit 1, speed: there is no such entry",
            id="an unknown entry",
        ),
        pytest.param('[[visit]]\nkeys = "H9"', "visit 1, keys: 'H9' is no key", id="no key"),
        pytest.param('[[visit]]\nkeys = "C4"\nprogramme = "fast"', "built in are full", id="no such programme"),
        pytest.param('order = "up"\n[[visit]]\nkeys = "C4"', "order: Input should be 'left to right'", id="no order"),
    ],
)
def test_a_plan_that_cannot_be_followed_is_refused_with_its_place(text: str, said: str, tmp_path: Path) -> None:
    with pytest.raises(MalformedPlan, match=said) as refusal:
        read_plan(written(tmp_path, text))
    assert "plan.toml" in str(refusal.value) or "fast" in str(refusal.value)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        pytest.param(a_programme_with("speed_mm_per_s", "50.0"), "less than or equal to 5", id="too fast for slow"),
        pytest.param(a_programme_with("count", "0"), "greater than or equal to 1", id="no strokes"),
        pytest.param(
            a_programme_with("colour", '"red"'),
            "mine.toml, line 5: steps 1, colour: there is no such entry",
            id="an unknown entry",
        ),
        pytest.param('name = "x"\nsummary = "y"\nsteps = []', "line 3: steps: needs at least one", id="no steps"),
        pytest.param(
            'name = "x"\nsummary = "y"\n[[steps]]\ndo = "dance"',
            "line 3: steps 1: `do` must be one of rest",
            id="no step",
        ),
        pytest.param('name = "x"\nsummary = "y"\n[[steps]]\ncount = 3', "line 3: steps 1: `do` is missing", id="no do"),
    ],
)
def test_a_programme_that_cannot_be_carried_out_is_refused_with_its_place(text: str, said: str, tmp_path: Path) -> None:
    with pytest.raises(MalformedPlan, match=said):
        load_programme(str(written(tmp_path, text, "mine.toml")))
