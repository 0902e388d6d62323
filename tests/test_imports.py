"""Imports go one way: the steps do not know one another."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "grouper"
STEPS = ("discover", "read", "sight", "group", "check", "write")
FOUNDATION = ("model", "errors", "settings", "contracts", "optics", "lenses", "rotations")
RIM = ("pipeline", "watch", "cli")


def imported(path: Path) -> set[str]:
    """First-level names under ``grouper`` that a module imports, wherever in it."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module == "grouper":
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and (node.module or "").startswith("grouper."):
            names.add((node.module or "").split(".")[1])
        elif isinstance(node, ast.Import):
            names |= {a.name.split(".")[1] for a in node.names if a.name.startswith("grouper.")}
    return names


def modules_of(step: str) -> list[Path]:
    folder = PACKAGE / step
    return sorted(folder.rglob("*.py")) if folder.is_dir() else [PACKAGE / f"{step}.py"]


@pytest.mark.parametrize("step", STEPS)
def test_a_step_imports_no_other_step_and_nothing_of_the_rim(step: str) -> None:
    modules = modules_of(step)
    assert modules
    for module in modules:
        forbidden = (set(STEPS) | set(RIM)) - {step}
        assert not imported(module) & forbidden, module


@pytest.mark.parametrize("name", FOUNDATION)
def test_the_foundation_imports_only_the_foundation(name: str) -> None:
    assert imported(PACKAGE / f"{name}.py") <= set(FOUNDATION)


def test_the_service_leaves_reading_and_grouping_to_the_pipeline() -> None:
    modules = sorted((PACKAGE / "watch").glob("*.py"))
    assert modules
    for module in modules:
        assert not imported(module) & {"read", "sight", "group", "check", "cli"}, module
        if module.stem != "worker":
            assert "pipeline" not in imported(module), module


def test_only_the_pipeline_knows_the_order_of_steps() -> None:
    for path in PACKAGE.glob("*.py"):
        if path.stem not in (*STEPS, "pipeline"):
            steps = imported(path) & set(STEPS)
            # the command line and the package's own names may reach writing and checking
            assert len(steps) <= 3, (path.name, steps)
