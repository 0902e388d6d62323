"""What no setting changes is told with the settings."""

from __future__ import annotations

import ast
import importlib
import inspect
import json
import subprocess
import sys
from types import ModuleType
from typing import Any

import numpy as np
import pytest

from grouper.group import panorama
from grouper.thresholds import fixed_thresholds, numbers_of


@pytest.mark.parametrize(
    ("value", "told"),
    [
        (3, 3),
        (-2.5, -2.5),
        (np.float32(0.5), 0.5),
        (np.int64(7), 7),
        ((1.0, 0.8), [1.0, 0.8]),
        ({1: 5.5, 0: 5.0}, {"1": 5.5, "0": 5.0}),
        ({"lens": (0.002, 0.05)}, {"lens": [0.002, 0.05]}),
    ],
)
def test_numbers_are_told_plainly(value: object, told: object) -> None:
    module = ModuleType("some")
    vars(module).update(_LEAST_PX=value)
    found = numbers_of(module, "sight.some")
    assert found == {"sight.some._LEAST_PX": told}
    assert json.loads(json.dumps(found)) == found


@pytest.mark.parametrize(
    "value",
    [
        "text",
        True,
        None,
        (),
        {},
        ("lens", "focal"),
        (1, "lens"),
        {"lens": len},
        np.zeros(3),
        {1, 2},
    ],
    ids=repr,
)
def test_what_is_no_number_is_not_told(value: object) -> None:
    module = ModuleType("some")
    vars(module).update(WORD=value, lower=1, Mixed=2)
    assert numbers_of(module, "sight.some") == {}


def test_known_numbers_of_all_three_steps_are_there() -> None:
    fixed = fixed_thresholds()
    assert fixed["group.panorama.START"] == panorama.START
    assert fixed["group.TEMPER"] > 0
    assert len(fixed["sight.verdict._WEIGHTS"]) == 3
    assert fixed["check.gaps._PLAUSIBLE_HOLE"] >= 1
    assert not [name for name in fixed if name.endswith((".RULE", ".CHECK", ".CODES"))]


def test_the_order_is_that_of_packages_modules_and_names() -> None:
    def place(name: str) -> tuple[Any, ...]:
        package, *module, constant = name.split(".")
        return ("group", "sight", "check").index(package), module, constant

    names = list(fixed_thresholds())
    assert names == sorted(names, key=place)


def test_the_order_does_not_hang_on_what_was_imported_first() -> None:
    code = (
        "import {first}\n"
        "import json\n"
        "from grouper.thresholds import fixed_thresholds\n"
        "print(json.dumps(fixed_thresholds()))"
    )
    told = [
        subprocess.run(
            [sys.executable, "-c", code.format(first=first)],
            capture_output=True, text=True, check=True,
        ).stdout
        for first in ("grouper.check.gaps", "grouper.pipeline")
    ]  # fmt: skip
    assert told[0] == told[1]
    assert json.loads(told[0]) == fixed_thresholds()


def without_reason(source: str) -> set[str]:
    """Upper-case constants with no text right below them and no comment on or right above."""
    lines = source.splitlines()
    body = ast.parse(source).body
    texts = {
        node.lineno
        for node in body
        if isinstance(node, ast.Expr)
        and isinstance(node.value, ast.Constant)
        and isinstance(node.value.value, str)
    }
    silent: set[str] = set()
    for node in body:
        if not isinstance(node, ast.Assign | ast.AnnAssign):
            continue
        end = node.end_lineno or node.lineno
        above = lines[node.lineno - 2].lstrip() if node.lineno > 1 else ""
        told = end + 1 in texts or above.startswith("#")
        if not (told or any("  # " in line for line in lines[node.lineno - 1 : end])):
            targets = node.targets if isinstance(node, ast.Assign) else [node.target]
            names = [name for target in targets for name in ast.walk(target)]
            silent |= {n.id for n in names if isinstance(n, ast.Name) and n.id.isupper()}
    return silent


def test_every_number_has_its_reason_right_beside_it() -> None:
    homes = {name.rpartition(".")[0] for name in fixed_thresholds()}
    silent = {
        f"{home}.{name}"
        for home in homes
        for name in without_reason(inspect.getsource(importlib.import_module(f"grouper.{home}")))
    }
    assert len(homes) > 40
    assert sorted(silent & set(fixed_thresholds())) == []


@pytest.mark.parametrize(
    ("source", "silent"),
    [
        ("A = 1\n", {"A"}),
        ('A = 1\nB = 2\n"""Why."""\n', {"A"}),
        ('A = 1\n"""Why."""\n_B = 2\n', {"_B"}),
        ('A, B = 1, 2\n"""Why."""\n', set()),
        ("A = 1\n\nB: int = 2\n", {"A", "B"}),
        ("A: int = 1  # because\n", set()),
        ("# Because.\nA = 1\n", set()),
    ],
)
def test_the_search_for_bare_numbers_finds_them(source: str, silent: set[str]) -> None:
    assert without_reason(source) == silent
