"""The page `docs/budget.md`: which lines each measurand's budget has, written from the code; a test keeps them equal.

How it works: between two marks stand a table of the sources, each with its reason, and a table of measurands against
sources, from `budget/sources.py`, the calibration's constants and FEATURES; and one of whose each line is, from
`statistics/among_keys.py`.
"""

from __future__ import annotations

from processing.budget.calibration_lines import (
    BACKLASH,
    COMPLIANCE,
    DISPLACEMENT_BY_TEMPERATURE,
    DISPLACEMENT_POWERS,
    FORCE_BY_LEVER,
    FORCE_BY_TEMPERATURE,
    FORCE_POWERS,
    HYSTERESIS,
    SKEW,
    TEMPERATURE,
    TRAVEL_BY_LEVER,
)
from processing.budget.sources import (
    DEFINITION,
    NOISE,
    OF_ALL,
    OTHERWISE,
    ROOM_OF_DEFINITION,
    SOURCES,
    STROKES,
)
from processing.dynamics.sources import DYNAMIC, DYNAMIC_SOURCES
from processing.features.table import FEATURES
from processing.statistics.among_keys import AMONG_KEYS

BEGIN, END = "<!-- budget tables: begin -->", "<!-- budget tables: end -->"
ALWAYS = (
    (
        NOISE,
        "A",
        "t",
        "what strokes do not share is put on the mean curve from other places, and the number is measured again",
    ),
    (
        STROKES,
        "A",
        "t",
        "scatter over single strokes, s / sqrt(n), as far as it is more than noise, zero and drift account for; "
        "with one stroke there is none, and a flag says so",
    ),
)
OF_THE_CALIBRATION = (
    (FORCE_POWERS[0], "normal", "slope of the force scale; the offset falls out, since the zero is read in the air"),
    (FORCE_POWERS[1], "normal", "only of a quadratic scale; correlated with the slope by the fit's covariance"),
    (DISPLACEMENT_POWERS[0], "normal", "slope of the displacement scale; the offset falls out, since x = 0 is touch"),
    (DISPLACEMENT_POWERS[1], "normal", "only of a quadratic scale; correlated with the slope"),
    (COMPLIANCE, "normal", "the rig gives under load, and the tip is less deep than the gauge says"),
    (SKEW, "normal", "force and place of one moment are not of one tick; acts on the way up and on notes"),
    (
        BACKLASH,
        "normal",
        "what is left open of the play that was taken out: the way up lies deeper or higher",
    ),
    (FORCE_BY_TEMPERATURE, "normal", "the coefficient by which the scale was brought to the room's temperature"),
    (DISPLACEMENT_BY_TEMPERATURE, "normal", "the same of the displacement"),
    (FORCE_BY_LEVER, "normal", "only at the front edge: where the plunger stands and how long the lever is"),
    (TRAVEL_BY_LEVER, "normal", "the same of the travel"),
    (HYSTERESIS, "rectangular", "the scale lies in the middle of loading and unloading, a stroke on either side of it"),
    (TEMPERATURE, "rectangular", "the room is not as warm as at the calibration; left out if a coefficient is known"),
)


def budget_page() -> str:
    """Return the three tables as Markdown."""
    sources = [
        "| source | kind | distribution | why |\n|---|---|---|---|",
        *(f"| {name} | {kind} | {distribution} | {why} |" for name, kind, distribution, why in ALWAYS),
        *(f"| {name} | B | {distribution} | {why} |" for name, distribution, why in OTHERWISE),
        *(f"| {source.name} | {source.kind} | {source.distribution} | {source.why} |" for source in SOURCES),
        *(f"| {source.name} | {source.kind} | {source.distribution} | {source.why} |" for source in DYNAMIC_SOURCES),
        *(f"| {name} (calibration) | B | {distribution} | {why} |" for name, distribution, why in OF_THE_CALIBRATION),
    ]
    models = [f"| measurand | unit | lines besides those of all | {DEFINITION} |", "|---|---|---|---|"]
    for feature in FEATURES:
        if feature.name in DYNAMIC:
            names = [source.name for source in DYNAMIC_SOURCES if feature.name in source.measurands]
        else:
            names = [source.name for source in SOURCES if source.acts_on(feature.name) and source not in OF_ALL]
        room = ROOM_OF_DEFINITION.get(feature.name, "none")
        models.append(f"| `{feature.name}` | {feature.unit} | {'; '.join(names) or 'none'} | {room} |")
    among = ["| line | whose it is among the keys of a recording | why |\n|---|---|---|"]
    among += [f"| {row.name} | {row.whose} | {row.why} |" for row in AMONG_KEYS]
    return "\n".join([*sources, "", *models, "", *among])


def put_budget_page(markdown: str) -> str:
    """Return a Markdown text with the tables between their two marks made anew. Raises ValueError without the marks."""
    before, rest = markdown.split(BEGIN)
    _, after = rest.split(END)
    return f"{before}{BEGIN}\n{budget_page()}\n{END}{after}"


if __name__ == "__main__":
    from pathlib import Path

    page = Path(__file__).parents[1] / "docs" / "budget.md"
    page.write_text(put_budget_page(page.read_text(encoding="utf-8")), encoding="utf-8")
