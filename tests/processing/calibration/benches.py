"""A bench for calibrations with masses: a cell of known truth, a person who may err."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from processing.calibration.gravity import Gravity
from processing.calibration.masses import Mass, MassList, stack_forces
from processing.calibration.sequence import LoadStep
from processing.calibration.settings import Surroundings

HERE = Gravity(9.81, 0.0005, "measured")
EXACT = Gravity(9.81, 0.0, "measured")
STACKS = (("20",), ("50",), ("100",), ("100", "50"), ("200",), ("200", "50", "20"), ("200", "100", "50"))
"""About 0.2 to 3.5 N."""
SAMPLES = 500


def the_masses(oiml_class: str = "M1") -> MassList:
    return MassList(
        masses=tuple(Mass(name=str(g), nominal_g=float(g), oiml_class=oiml_class) for g in (10, 20, 50, 100, 200))  # type: ignore[arg-type]
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """What the cell makes of a load: counts = zero + gain (F + bend F^2 + hysteresis on the way down + drift t)."""

    gain: float = 20000.0
    zero: float = 1000.0
    bend_per_newton: float = 0.0
    hysteresis_newton: float = 0.0
    noise_newton: float = 0.003
    reading_noise_newton: float = 0.0002
    """From reading to reading, beyond the noise of samples: placing the masses."""
    drift_newton_per_s: float = 0.0
    creep_newton_per_s: float = 0.0
    """Rises with the time of a hold."""
    range_counts: float = 400000.0

    def counts(self, load: float, time_s: float, *, down: bool, held_s: float) -> float:
        felt = load + self.bend_per_newton * load**2 + self.hysteresis_newton * (down and load > 0.05)
        felt += self.drift_newton_per_s * time_s + self.creep_newton_per_s * held_s
        return float(np.clip(self.zero + self.gain * felt, -self.range_counts, self.range_counts))


def up_and_down(cycles: int = 3, stacks: Sequence[tuple[str, ...]] = STACKS) -> list[tuple[str, ...]]:
    """Return the stacks asked for: empty, up to the top, down again, empty; the zero is read after each cycle."""
    asked: list[tuple[str, ...]] = [()]
    for _ in range(cycles):
        asked += [*stacks, *reversed(stacks[:-1]), ()]
    return asked


def read(
    asked: Sequence[tuple[str, ...]],
    cell: Cell,
    seed: int,
    *,
    laid: Sequence[tuple[str, ...]] | None = None,
    true_newton: Callable[[tuple[str, ...]], float] | None = None,
    step_s: float = 20.0,
) -> list[LoadStep]:
    """Return what a person reads who was asked for these stacks and laid on those (None: the same)."""
    random = np.random.default_rng(seed)
    masses = the_masses()
    upright = Surroundings(tilt_limit_deg=0.0)
    steps, before, held_s = [], 0.0, 0.0
    for place, (wanted, stack) in enumerate(zip(asked, laid or asked, strict=True)):
        load = (
            true_newton(stack) if true_newton else float(stack_forces([stack], masses, EXACT, upright).force_newton[0])
        )
        held_s = held_s + step_s if place and wanted and wanted == asked[place - 1] else 0.0
        down = load < before or (load == before and held_s > 0.0)
        noise = random.normal(
            0.0, np.hypot(cell.reading_noise_newton * bool(stack), cell.noise_newton / np.sqrt(SAMPLES))
        )
        mean = cell.counts(load + noise, place * step_s, down=down, held_s=held_s)
        cut = abs(mean) == cell.range_counts
        sd = 0.0 if cut else cell.gain * cell.noise_newton * np.sqrt(random.chisquare(SAMPLES - 1) / (SAMPLES - 1))
        steps.append(
            LoadStep(masses=wanted, mean_counts=mean, sd_counts=float(abs(sd)), samples=SAMPLES, time_s=place * step_s)
        )
        before = load
    return steps


def spoiled(steps: Sequence[LoadStep], place: int, **changes: object) -> list[LoadStep]:
    """Return the steps with one of them changed."""
    return [replace(step, **changes) if k == place else step for k, step in enumerate(steps)]  # type: ignore[arg-type]
