"""Every rule is registered, every module tested, every function and number explained."""

from __future__ import annotations

import ast
import importlib
import pkgutil
from pathlib import Path
from typing import TypeGuard, get_args

import pytest

from grouper.group import RULES
from grouper.group.choose import Rule
from grouper.model import SetKind

HERE = Path(__file__).parent
FOLDER = Path(str(importlib.import_module("grouper.group").__file__)).parent
SOURCES = {info.name: FOLDER / f"{info.name}.py" for info in pkgutil.iter_modules([str(FOLDER)])}


def tree_of(name: str) -> ast.Module:
    return ast.parse(SOURCES[name].read_text(encoding="utf-8"))


def is_public(node: ast.AST) -> TypeGuard[ast.FunctionDef | ast.ClassDef]:
    return isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_")


def test_every_module_with_a_rule_is_registered_once() -> None:
    found = [
        rule
        for name in SOURCES
        if (rule := getattr(importlib.import_module(f"grouper.group.{name}"), "RULE", None))
    ]
    assert all(isinstance(rule, Rule) for rule in found)
    assert sorted(r.kind for r in found) == sorted(r.kind for r in RULES)
    assert {id(r) for r in found} == {id(r) for r in RULES}


def test_every_kind_of_set_has_exactly_one_rule_and_so_have_tries() -> None:
    assert sorted(rule.kind for rule in RULES) == sorted((*get_args(SetKind), "tries"))


def test_a_rules_module_is_named_for_its_kind() -> None:
    for rule in RULES:
        assert rule.kind.replace("-", "_") in SOURCES


@pytest.mark.parametrize("name", sorted(SOURCES))
def test_a_module_has_a_test_module_that_imports_it(name: str) -> None:
    test = HERE / f"test_{name}.py"
    assert test.exists()
    assert f"grouper.group.{name}" in test.read_text(encoding="utf-8")


@pytest.mark.parametrize("name", sorted(SOURCES))
def test_the_module_and_its_public_names_are_documented(name: str) -> None:
    module = tree_of(name)
    assert ast.get_docstring(module)
    public = [node for node in module.body if is_public(node)]
    inside = [
        node for owner in public if isinstance(owner, ast.ClassDef)
        for node in owner.body if is_public(node)
    ]  # fmt: skip
    bare = [node.name for node in (*public, *inside) if not ast.get_docstring(node)]
    assert bare == []


def constants_without_reason(source: str) -> list[str]:
    """Constants of a module that stand in a group without any words.

    A group is a run of statements with no blank line between them; a docstring after or a
    comment within or just above it is its reason. ``RULE`` speaks for itself.
    """
    lines = source.splitlines()
    body = ast.parse(source).body
    told_lines = {
        number
        for node in body
        if isinstance(node, ast.Expr)
        and isinstance(node.value, ast.Constant)
        and isinstance(node.value.value, str)
        for number in range(node.lineno, (node.end_lineno or node.lineno) + 1)
    }
    silent = []
    for node in body:
        targets = (
            node.targets if isinstance(node, ast.Assign)
            else [node.target] if isinstance(node, ast.AnnAssign) else []
        )  # fmt: skip
        names = [
            name.id for target in targets for name in ast.walk(target)
            if isinstance(name, ast.Name) and name.id.isupper()
            and not name.id.startswith("_") and name.id != "RULE"
        ]  # fmt: skip
        if not names:
            continue
        first, last = node.lineno, node.end_lineno or node.lineno
        while first > 1 and lines[first - 2].strip():
            first -= 1
        while last < len(lines) and lines[last].strip():
            last += 1
        group = range(first, last + 1)
        if not any(n in told_lines or "#" in lines[n - 1] for n in group):
            silent += names
    return silent


@pytest.mark.parametrize("name", sorted(SOURCES))
def test_every_number_has_its_reason_beside_it(name: str) -> None:
    assert constants_without_reason(SOURCES[name].read_text(encoding="utf-8")) == []


def test_the_search_for_bare_numbers_finds_them() -> None:
    assert constants_without_reason("A = 1\n\nB = 2\n") == ["A", "B"]
    assert constants_without_reason('A = 1\nB, C = 2, 3\n"""Why."""\n') == []
    assert constants_without_reason("A: int = 1  # because\n") == []
    assert constants_without_reason('"""Module."""\n\nA = 1\n') == ["A"]
