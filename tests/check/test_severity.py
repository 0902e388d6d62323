from __future__ import annotations

import pytest

from grouper.check import find_all
from grouper.check.severity import decide_severities
from grouper.errors import BadSettings
from grouper.model import Severity
from grouper.settings import Settings
from tests.check.sets import card, findings, sweep

DEFAULTS: dict[str, Severity] = {"missing-frame": "problem", "too-wide": "note"}


def test_defaults_stand_when_nothing_is_set() -> None:
    assert decide_severities(DEFAULTS, Settings()) == DEFAULTS


@pytest.mark.parametrize(
    ("level", "decided"),
    [("problem", "problem"), ("warning", "warning"), ("note", "note"), ("off", None)],
)
def test_settings_move_and_silence(level: str, decided: str | None) -> None:
    settings = Settings(severity=(("too-wide", level),))
    assert decide_severities(DEFAULTS, settings)["too-wide"] == decided


def test_an_unknown_code_is_refused_with_the_nearest() -> None:
    settings = Settings(severity=(("to-wide", "off"),))
    with pytest.raises(BadSettings, match="did you mean 'too-wide'"):
        decide_severities(DEFAULTS, settings)


def test_an_unknown_level_is_refused() -> None:
    with pytest.raises(BadSettings, match="'loud' is none of"):
        decide_severities(DEFAULTS, Settings(severity=(("too-wide", "loud"),)))


def test_severity_reaches_the_findings() -> None:
    settings = Settings(severity=(("missing-frame", "note"), ("too-wide", "off")))
    in_sets, _ = findings(sweep(deleted=[3]), settings=settings)
    assert [(finding.code, finding.severity) for finding in in_sets] == [("missing-frame", "note")]


def test_the_runner_refuses_unknown_codes_before_it_checks() -> None:
    with pytest.raises(BadSettings):
        find_all(*card(), Settings(severity=(("nonsense", "off"),)))
