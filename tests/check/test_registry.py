"""Every code of the published list has its check, its page, its test and its loudness."""

from __future__ import annotations

import importlib
import pkgutil
import re
from pathlib import Path

import pytest

from grouper.check import CARD_CHECKS, CODES, DEFAULT_SEVERITIES, SET_CHECKS, page
from grouper.check.causes import EXPLAINS
from grouper.errors import GrouperError
from grouper.settings import BriefSettings, CheckSettings, Settings

PUBLISHED = {
    "problem": """
        missing-frame short-bracket short-stack mixed-focal-length mixed-orientation mixed-lens
        mixed-size unreadable-file brief-unmet""",
    "warning": """
        thin-overlap short-row open-circle mixed-aperture mixed-iso mixed-shutter mixed-focus
        mixed-white-balance mixed-flash uneven-bracket tilted-base rolled-camera drifting-row
        soft-frame no-capture-time clock-jump""",
    "note": """
        spare-take number-gap lone-companion auto-exposure auto-iso auto-white-balance auto-focus
        parallax-risk shallow-focus too-wide clipped-highlights blocked-shadows moved-subject
        clock-offset duplicate-frame set-in-doubt""",
}
SEVERITY_OF = {code: level for level, codes in PUBLISHED.items() for code in codes.split()}
HEADINGS = [
    "What it looks for",
    "Why it matters",
    "When it is wrong",
    "What to do",
    "Settings",
]
HERE = Path(__file__).parent


def module_name(code: str) -> str:
    return code.replace("-", "_")


def test_exactly_the_published_codes_are_registered_once() -> None:
    registered = [check.code for check in (*SET_CHECKS, *CARD_CHECKS)]
    assert sorted(registered) == sorted(SEVERITY_OF)
    assert len(SEVERITY_OF) == 41
    assert sorted(CODES) == sorted(registered)


def test_default_severities_are_as_published() -> None:
    assert DEFAULT_SEVERITIES == SEVERITY_OF


def test_every_module_with_a_check_is_registered() -> None:
    package = importlib.import_module("grouper.check")
    found = {
        info.name
        for info in pkgutil.iter_modules(package.__path__)
        if hasattr(importlib.import_module(f"grouper.check.{info.name}"), "CHECK")
    }
    assert found == {module_name(code) for code in CODES}


@pytest.mark.parametrize("code", sorted(SEVERITY_OF))
def test_module_code_and_test_module_bear_the_same_name(code: str) -> None:
    module = importlib.import_module(f"grouper.check.{module_name(code)}")
    assert module.CHECK.code == code
    assert (HERE / f"test_{module_name(code)}.py").is_file()


@pytest.mark.parametrize("code", sorted(SEVERITY_OF))
def test_the_page_has_its_headings_in_order_and_text_below_each(code: str) -> None:
    text = page(code)
    lines = text.splitlines()
    assert lines[0].endswith(".")
    assert [line for line in lines if line in HEADINGS] == HEADINGS
    for heading in HEADINGS:
        assert lines[lines.index(heading) + 1].startswith("    ")


@pytest.mark.parametrize("code", sorted(SEVERITY_OF))
def test_no_line_of_a_page_ends_within_a_word(code: str) -> None:
    assert [line for line in page(code).splitlines() if line.endswith("-")] == []


@pytest.mark.parametrize("code", sorted(SEVERITY_OF))
def test_settings_named_on_a_page_exist(code: str) -> None:
    section = page(code).partition("\nSettings\n")[2]
    named = re.findall(r"(check|brief)\.([a-z0-9_]+)", section)
    assert named or section.strip() == "None."
    for part, name in named:
        assert hasattr(getattr(Settings(), part), name), name


def test_every_threshold_is_named_on_some_page() -> None:
    pages = " ".join(page(code) for code in CODES)
    for name in CheckSettings.__dataclass_fields__:
        assert f"check.{name}" in pages, name


def test_every_rule_of_the_brief_is_named_on_its_page() -> None:
    text = page("brief-unmet")
    for name in BriefSettings.__dataclass_fields__:
        assert f"brief.{name}" in text, name


def test_every_threshold_has_its_reason() -> None:
    for item in CheckSettings.__dataclass_fields__.values():
        assert len(item.metadata["why"]) > 20


def test_causes_name_registered_codes() -> None:
    named = {*EXPLAINS, *(effect for effects in EXPLAINS.values() for effect in effects)}
    assert named <= set(CODES)


def test_no_page_says_that_a_card_may_be_formatted() -> None:
    for code in CODES:
        text = page(code).lower()
        for found in re.finditer(r"format(?:ted|ting)? (?:it|the card|a card)", text):
            before = text[max(0, found.start() - 60) : found.start()]
            assert "never" in before or "do not" in before, code


def test_an_unknown_code_names_the_nearest() -> None:
    with pytest.raises(GrouperError, match="did you mean 'missing-frame'"):
        page("mising-frame")
