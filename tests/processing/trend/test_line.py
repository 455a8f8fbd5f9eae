"""Planted events are found along a line and told in sentences; a quiet line stays quiet."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from processing.control.capability import Index
from processing.control.settings import ControlSettings
from processing.display import Units
from processing.errors import TooFewUnits, UnknownBaseline
from processing.limits.types import Limits, ValueLimit
from processing.limits.types import Line as Limit
from processing.trend.capable import capable
from processing.trend.groups import GROUPS
from processing.trend.line import LeftOut, Line, watch_line
from processing.trend.news import news_of
from processing.trend.sentences import capable_sentence, cautions, left_out_sentences, news_sentences, rate_sentences
from processing.unit_store import UnitStore
from recordings.keys import ALL_KEYS
from tests.processing.trend.lines import a_line, batch, drift, step

QUICK = ControlSettings(replicates=40_000)
GF = Units()


def watched(store: Path, **how: object) -> Line:
    given: dict[str, object] = {"measurands": ("friction", "up_weight", "key_dip"), "settings": QUICK, "baseline": 40}
    return watch_line(UnitStore(store), "moss", **(given | how))  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def eventful(tmp_path_factory: pytest.TempPathFactory) -> Line:
    planted = {"friction": drift(90, 0.0004), "key_dip": step(110, 0.04), "up_weight": batch(70, 89, -0.03)}
    store = a_line(
        tmp_path_factory.mktemp("eventful") / "units", 150, planted=planted,
        calibrations=lambda unit: "second" if unit >= 110 else "first",
    )  # fmt: skip
    return watched(store)


def test_every_planted_event_is_found_by_kind_and_place_in_all_groups(eventful: Line) -> None:
    news = news_of(eventful)

    assert [(one.measurand, one.event and one.event.kind, len(one.series)) for one in news] == [
        ("up_weight", "batch", 6),
        ("friction", "drift", 6),
        ("key_dip", "step", 6),
    ]
    for one, first in zip(news, (70, 90, 110), strict=True):
        assert one.event is not None
        assert one.event.first_between[0] <= first <= one.event.first_between[1]
    assert (news[0].event.last, news[2].event.last) == (89, None)  # type: ignore[union-attr]


def test_events_are_told_with_place_size_and_charts(eventful: Line) -> None:
    springs, friction, dip = news_sentences(eventful, GF)

    assert springs.startswith("Up weight (all keys): a batch, moss-071 to moss-090, is lower by ")
    assert "(begins there, ends there)" in springs
    assert friction.startswith("Friction (all keys): drifts upward since moss-0")
    assert "begins between moss-0" in friction
    assert " gf over 6 groups of keys by moss-150; " in friction
    assert dip.startswith("Key dip (all keys): steps up at moss-111 by 0.04 mm and stays there (begins there); ")
    assert "single values, moving average (EWMA) and cumulative sums (CUSUM) beyond the limits" in dip


def test_a_change_of_what_measured_them_is_named_before_the_process_is_blamed(eventful: Line) -> None:
    friction, dip = news_sentences(eventful, GF)[1:]

    assert "The calibration was changed at moss-111, within that: look at it before the process." in dip
    assert "calibration" not in friction


def test_a_quiet_line_is_in_control_and_says_how_sure_that_is(tmp_path: Path) -> None:
    line = watched(a_line(tmp_path / "units"))

    assert line.in_control
    assert news_sentences(line, GF) == ("Nothing has changed: no chart signals in 80 units after the baseline.",)
    rate = " ".join(rate_sentences(line))
    assert "18 series with three charts each" in rate
    assert "5 of 100 such families show any signal at all within 250 units" in rate
    assert "from the first 40 (moss-001 to moss-040)" in rate


def test_the_baseline_may_be_named_by_its_ends(tmp_path: Path) -> None:
    line = watched(a_line(tmp_path / "units"), baseline="moss-011..moss-040")

    assert (line.units.labels[0], line.units.baseline, line.units.before) == ("moss-011", 30, 10)
    assert "10 units from before the baseline are not charted." in cautions(line)


def test_too_few_units_and_unknown_ones_are_said(tmp_path: Path) -> None:
    store = a_line(tmp_path / "units", 20)

    with pytest.raises(TooFewUnits, match="20 of moss"):
        watched(store)
    with pytest.raises(TooFewUnits, match="14 would be the baseline; it needs 15 at least"):
        watched(store, baseline=14)
    with pytest.raises(UnknownBaseline, match="from moss-001 to moss-020"):
        watched(store, baseline="moss-001..fern-2")


def test_what_no_unit_has_is_left_out_with_a_reason(tmp_path: Path) -> None:
    line = watched(a_line(tmp_path / "units"), measurands=("friction", "letoff_drop"))

    assert left_out_sentences(line) == ("Let-off, drop is not charted: no unit of the baseline has it.",)
    assert len(line.series) == 6
    assert line.series[0].widths.series == 6


def test_measuring_is_named_where_it_makes_up_much_of_the_spread(tmp_path: Path) -> None:
    line = watched(a_line(tmp_path / "units"), measurands=("friction",))
    assert not any("Measuring may make up" in caution for caution in cautions(line))

    noisy = tuple(
        replace(one, series=replace(one.series, u=one.series.u * 4.0, values=one.series.values.copy()))
        for one in line.series
    )

    assert any("Measuring may make up a quarter" in caution for caution in cautions(replace(line, series=noisy)))


def test_a_baseline_that_wanders_is_named(tmp_path: Path) -> None:
    line = watched(a_line(tmp_path / "units", planted={"friction": drift(0, 0.002)}), measurands=("friction",))

    assert any("The baseline is not steady" in caution and "Friction" in caution for caution in cautions(line))


def test_capability_is_that_of_the_worst_key_of_each_group(tmp_path: Path) -> None:
    """Friction rises with the key, so against one upper limit the rightmost keys are worst."""
    line = watched(a_line(tmp_path / "units"), measurands=("friction",))
    limit = ValueLimit(
        measurand="friction", unit="N", lower=None, upper=Limit(0.16, 0.16), keys=frozenset(ALL_KEYS)
    )  # fmt: skip

    found = capable(line, Limits(name="a test", values=(limit,)))

    assert len(found) == 6
    assert all(one.found.cp is None and one.in_control for one in found)
    for one in found:
        numbers = one.group.numbers
        assert one.key.number in numbers
        assert one.keys == len(numbers)
        mean = 0.12 * (1.0 + 0.001 * one.key.number)
        expected = (0.16 - mean) / (3.0 * (0.004**2 + 0.008**2) ** 0.5)
        assert one.found.ppk.value == pytest.approx(expected, rel=0.3)
        assert one.found.ppk.value < expected


def test_an_interval_that_tells_little_is_explained(tmp_path: Path) -> None:
    line = watched(a_line(tmp_path / "units"), measurands=("friction",))
    limit = ValueLimit(
        measurand="friction", unit="N", lower=None, upper=Limit(0.16, 0.16), keys=frozenset(ALL_KEYS)
    )  # fmt: skip
    one = capable(line, Limits(name="a test", values=(limit,)))[0]
    wide = replace(one, found=replace(one.found, ppk=Index(0.12, 0.06, 10.59), by="quantiles", count=18))

    assert capable_sentence(wide).endswith(
        "So wide an interval tells little: it rests on 18 units, and their values are far from normal."
    )
    assert "So wide" not in capable_sentence(one)


def test_measurands_that_lack_the_same_keys_are_left_out_in_one_sentence(eventful: Line) -> None:
    bass, treble = GROUPS[0], GROUPS[2]
    left_out = (
        *(
            LeftOut(name, group, "no unit of the baseline has it")
            for name in ("friction", "key_dip")
            for group in (bass, treble)
        ),
        LeftOut("letoff_drop", bass, "no unit of the baseline has it"),
    )
    line = replace(eventful, left_out=left_out)

    assert left_out_sentences(line) == (
        f"Friction; Key dip ({bass.name}; {treble.name}) are not charted: no unit of the baseline has it.",
        f"Let-off, drop ({bass.name}) is not charted: no unit of the baseline has it.",
    )
