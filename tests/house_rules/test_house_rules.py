"""House rules as tests: size, arrows, documents that stay true."""

from __future__ import annotations

import ast
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from keyplumb.__main__ import COMMANDS, build_parser
from keyplumb.exit_codes import BAD_INPUT, CANNOT_TELL, DONE, FAILED, INTERRUPTED, RIG_OR_LINK, SAFETY, WRONG_USE
from processing.features.table import FEATURES
from processing.fitness.table import ITEMS
from processing.quality.checks import CHECKS
from rig.protocol.wire_page import put_wire_page

ROOT = Path(__file__).parents[2]
PACKAGES = ("daq", "keyplumb", "processing", "recordings", "rig")
SOURCES = sorted(path for package in PACKAGES for path in (ROOT / package).rglob("*.py"))
README, DEVELOPERS, CHANGELOG = (
    (ROOT / name).read_text(encoding="utf-8") for name in ("README.md", "DEVELOPERS.md", "CHANGELOG.md")
)


def relative(path: Path) -> str:
    return str(path.relative_to(ROOT))


@pytest.mark.parametrize("source", SOURCES, ids=relative)
def test_a_file_can_be_read_in_one_sitting(source: Path) -> None:
    assert len(source.read_text(encoding="utf-8").splitlines()) <= 300


@pytest.mark.parametrize("source", SOURCES, ids=relative)
def test_a_function_fits_on_a_screen(source: Path) -> None:
    tree = ast.parse(source.read_text(encoding="utf-8"))
    long = [
        f"{node.name}: {node.end_lineno - node.lineno + 1}"
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef)
        and node.end_lineno
        and node.end_lineno - node.lineno >= LONGEST.get(node.name, 40)
    ]

    assert long == []


LONGEST = {
    "true_features": 60,  # one table of all truths, read from top to bottom against measurands.md
    "_write_header": 45,  # one list of all names in the file's head
}


@pytest.mark.parametrize("source", SOURCES, ids=relative)
def test_a_module_says_how_it_works(source: Path) -> None:
    assert ast.get_docstring(ast.parse(source.read_text(encoding="utf-8")))


def test_data_flows_one_way() -> None:
    said = subprocess.run(
        [sys.executable, "-c", "from importlinter.cli import lint_imports_command; lint_imports_command()"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )

    assert said.returncode == 0, said.stdout + said.stderr


def test_the_wire_page_is_written_from_the_message_table() -> None:
    assert put_wire_page(DEVELOPERS) == DEVELOPERS


@pytest.mark.parametrize("feature", FEATURES, ids=lambda feature: feature.name)
def test_every_feature_is_explained_to_its_reader(feature) -> None:  # type: ignore[no-untyped-def]
    assert f"`{feature.name}`" in README


@pytest.mark.parametrize("command", COMMANDS, ids=lambda command: command.NAME)
def test_every_command_is_in_the_readme_with_its_summary(command) -> None:  # type: ignore[no-untyped-def]
    assert f"`keyplumb {command.NAME}`" in README


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
def test_every_check_states_its_law(check) -> None:  # type: ignore[no-untyped-def]
    assert check.__doc__
    assert f"`{check.__name__}`" in DEVELOPERS


@pytest.mark.parametrize("item", ITEMS, ids=lambda item: item.name)
def test_every_item_of_fitness_states_its_law(item) -> None:  # type: ignore[no-untyped-def]
    assert item.judge.__doc__
    assert f"| `{item.name}` |" in DEVELOPERS


@pytest.mark.parametrize("command", COMMANDS, ids=lambda command: command.NAME)
def test_every_example_is_a_command_that_parses(command) -> None:  # type: ignore[no-untyped-def]
    words = command.EXAMPLE.split(" > ")[0].split()

    assert words[0] == "keyplumb"
    assert build_parser().parse_args(words[1:]).run is command.run


@pytest.mark.parametrize(
    "code", [DONE, FAILED, WRONG_USE, BAD_INPUT, RIG_OR_LINK, SAFETY, CANNOT_TELL, INTERRUPTED], ids=str
)
def test_every_exit_code_is_in_the_readme(code: int) -> None:
    assert f"| {code} |" in README


def test_version_and_changelog_agree() -> None:
    import keyplumb

    version = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["version"]

    assert keyplumb.__version__ == version
    assert f"## {version}" in CHANGELOG


def test_the_readme_opens_with_the_two_commands() -> None:
    opening = README[:2500]

    assert "make demo" in opening
    assert "make test" in opening


@pytest.mark.parametrize(
    "page", [f"{package}settings.py" for package in ("", "fitness/", "statistics/", "comparison/", "control/")]
)
def test_every_default_setting_carries_its_reason(page: str) -> None:
    """Every knob has a unit, a default and a reason on its page of settings, one string below each."""
    tree = ast.parse((ROOT / "processing" / page).read_text())
    page_of_definitions = "FeatureSettings"  # these are the page's own thresholds; the class says so
    for klass in (node for node in tree.body if isinstance(node, ast.ClassDef)):
        if klass.name in (page_of_definitions, "Settings"):
            continue
        for knob, after in zip(klass.body[1:], [*klass.body[2:], None], strict=True):
            if isinstance(knob, ast.AnnAssign) and knob.target.id not in ("coverage", "seed"):  # type: ignore[union-attr]
                assert isinstance(after, ast.Expr), f"{klass.name}: line {knob.lineno} gives no reason"
