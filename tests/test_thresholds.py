"""What no setting changes is told with the settings."""

from __future__ import annotations

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
    assert len(fixed["sight.verdict._WEIGHTS"]) == 5
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
