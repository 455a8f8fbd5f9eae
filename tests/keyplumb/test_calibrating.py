"""How a calibration speaks with a person, and values as people write them."""

from __future__ import annotations

import io

import pytest

from keyplumb.__main__ import main
from keyplumb.calibrating.guide import Answer, Guide, StoppedByPerson
from keyplumb.calibrating.words import WithU, environment, gravity, with_u


@pytest.mark.parametrize("text", ["9.8123±0.0002", "9.8123 +- 0.0002", "9.8123+/-0.0002"])
def test_a_value_and_its_uncertainty_are_understood(text: str) -> None:
    assert with_u(text) == WithU(9.8123, 0.0002)


def test_gravity_is_measured_or_that_of_a_place() -> None:
    measured, place = gravity("9.8123±0.0002"), gravity("52.0N 40m")

    assert (measured.m_per_s2, measured.u_m_per_s2, measured.source) == (9.8123, 0.0002, "measured")
    assert place.m_per_s2 == pytest.approx(9.81235, abs=2e-5)  # GRS80 at 52 degrees, less 3.086e-6 a metre
    assert gravity("52.0S, 40 m").m_per_s2 == place.m_per_s2


@pytest.mark.parametrize("text", ["9.8123", "98.1±0.1", "95N 10m", "nine", "9.8±-0.1"])
def test_gravity_without_its_uncertainty_or_of_no_place_is_wrong_use(text: str) -> None:
    with pytest.raises(ValueError, match=r"gravity|uncertainty|place"):
        gravity(text)


def test_the_room_is_told_by_units() -> None:
    room = environment("21.5C, 40%, 1013 hPa, -1e-4/K±2e-5")

    assert (room.celsius, room.humidity_percent, room.pressure_hpa) == (21.5, 40.0, 1013.0)
    assert room.per_kelvin == WithU(-1e-4, 2e-5)


@pytest.mark.parametrize("text", ["21.5", "200C", "1e-4/K±2e-5", "40% rH", "21C, 1e-4/K"])
def test_a_room_that_cannot_be_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"unit|room|temperature|uncertainty"):
        environment(text)


def test_enter_r_and_q_are_understood_and_anything_else_is_asked_again() -> None:
    told = io.StringIO()
    guide = Guide(io.StringIO("\nR\nwhat\n\nq\n"), told)

    assert [guide.ask("do it") for _ in range(3)] == [Answer.GO_ON, Answer.REPEAT, Answer.GO_ON]
    assert "'what' is no answer" in told.getvalue()
    with pytest.raises(StoppedByPerson):
        guide.ask("do it")


def test_the_end_of_the_input_stops() -> None:
    with pytest.raises(StoppedByPerson):
        Guide(io.StringIO(""), io.StringIO()).ask("do it")


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["force", "--port", "p"], "--masses and --gravity must be given with --port"),
        (["displacement", "--port", "p"], "--blocks must be given with --port"),
        (["contact", "--port", "p", "--behind-front", "300±1", "--lever", "218±1"], "the lever must be longer"),
    ],
)
def test_what_is_needed_at_the_bench_and_not_given_is_wrong_use(
    words: list[str], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["calibrate", *words]) == 2
    assert told in capsys.readouterr().err


@pytest.mark.parametrize("words", [["force"], ["warmth", "--port", "p"], ["contact", "--port", "p"]])
def test_a_calibration_of_nothing_is_wrong_use(words: list[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["calibrate", *words])
    assert ended.value.code == 2


@pytest.mark.parametrize("kind", ["force", "displacement", "compliance", "skew", "contact"])
def test_no_kind_of_calibration_has_more_than_nine_options(kind: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["calibrate", kind, "--help"])
    options = {
        word for line in capsys.readouterr().out.splitlines() if line.startswith("  --") for word in line.split()[:1]
    }
    assert 5 <= len(options - {"--help"}) <= 9
