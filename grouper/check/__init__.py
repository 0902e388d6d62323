"""Sets and cards -> findings: one module per code, in the order of these tuples.

A check sees what is wrong and says so (``Problem``); how loud that is stands in
``severity``, which findings explain others in ``causes``. To add a check: one module named
after its code, one line in a tuple here, one test module.
"""

from __future__ import annotations

import difflib
import importlib
from collections.abc import Iterable
from dataclasses import replace

from grouper.check import (
    auto_exposure,
    auto_focus,
    auto_iso,
    auto_white_balance,
    blocked_shadows,
    brief_unmet,
    clipped_highlights,
    clock_jump,
    clock_offset,
    drifting_row,
    duplicate_frame,
    lone_companion,
    missing_frame,
    mixed_aperture,
    mixed_flash,
    mixed_focal_length,
    mixed_focus,
    mixed_iso,
    mixed_lens,
    mixed_orientation,
    mixed_shutter,
    mixed_size,
    mixed_white_balance,
    moved_subject,
    no_capture_time,
    number_gap,
    open_circle,
    parallax_risk,
    rolled_camera,
    set_in_doubt,
    shallow_focus,
    short_bracket,
    short_row,
    short_stack,
    soft_frame,
    spare_take,
    thin_overlap,
    tilted_base,
    too_wide,
    uneven_bracket,
    unreadable_file,
)
from grouper.check.brief import judge_brief
from grouper.check.card_numbers import CardNumbers, read_card_numbers
from grouper.check.causes import check_numbers, drop_explained, join_automatic, refer
from grouper.check.gaps import judged_once
from grouper.check.severity import decide_severities
from grouper.contracts import CardCheck, Problem, SetCheck
from grouper.errors import GrouperError
from grouper.model import SEVERITIES, Finding, Grouping, Scan, Set, Severity
from grouper.settings import Settings

SET_CHECKS: tuple[SetCheck, ...] = (
    missing_frame.CHECK,
    short_bracket.CHECK,
    short_stack.CHECK,
    mixed_focal_length.CHECK,
    mixed_orientation.CHECK,
    mixed_lens.CHECK,
    mixed_size.CHECK,
    brief_unmet.CHECK,
    thin_overlap.CHECK,
    short_row.CHECK,
    open_circle.CHECK,
    uneven_bracket.CHECK,
    mixed_aperture.CHECK,
    mixed_iso.CHECK,
    mixed_shutter.CHECK,
    mixed_focus.CHECK,
    mixed_white_balance.CHECK,
    mixed_flash.CHECK,
    soft_frame.CHECK,
    tilted_base.CHECK,
    rolled_camera.CHECK,
    drifting_row.CHECK,
    auto_exposure.CHECK,
    auto_iso.CHECK,
    auto_white_balance.CHECK,
    auto_focus.CHECK,
    moved_subject.CHECK,
    clipped_highlights.CHECK,
    blocked_shadows.CHECK,
    parallax_risk.CHECK,
    shallow_focus.CHECK,
    spare_take.CHECK,
    set_in_doubt.CHECK,
    too_wide.CHECK,
)
"""Checks of one set, what costs the most to miss first; a plain fact, no fault, comes last."""

CARD_CHECKS: tuple[CardCheck, ...] = (
    unreadable_file.CHECK,
    no_capture_time.CHECK,
    clock_jump.CHECK,
    clock_offset.CHECK,
    duplicate_frame.CHECK,
    lone_companion.CHECK,
    number_gap.CHECK,
)
"""Checks of the whole card."""

DEFAULT_SEVERITIES: dict[str, Severity] = {
    **{check.code: check.severity for check in SET_CHECKS},
    **{check.code: check.severity for check in CARD_CHECKS},
}
"""Every finding code and how loud it is unless the settings say otherwise."""

CODES: tuple[str, ...] = tuple(DEFAULT_SEVERITIES)


def find_all(
    scan: Scan, grouping: Grouping, settings: Settings
) -> tuple[Grouping, tuple[Finding, ...]]:
    """Check every set and the card.

    Returns the grouping with each set's findings filled in, and the findings about the card
    as a whole. Findings stand worst first, then in the order of the checks.

    Raises:
        BadSettings: the settings move a code that does not exist.
    """
    severities = decide_severities(DEFAULT_SEVERITIES, settings)
    numbers = read_card_numbers(scan)
    card: list[Finding] = []
    for check in CARD_CHECKS:
        severity = severities[check.code]
        if severity is not None:
            problems = check.find(scan, grouping, settings)
            card.extend(_findings(check.code, severity, problems, None))
    sets = tuple(
        _check_set(found, settings, severities, numbers, tuple(card)) for found in grouping.sets
    )
    return replace(grouping, sets=sets), _worst_first(card)


def _check_set(
    found: Set,
    settings: Settings,
    severities: dict[str, Severity | None],
    numbers: CardNumbers,
    card: tuple[Finding, ...],
) -> Set:
    findings: list[Finding] = []
    with judged_once():
        for check in SET_CHECKS:
            severity = severities[check.code]
            if severity is not None and found.kind in check.kinds:
                problems = check.find(found, settings)
                findings.extend(_findings(check.code, severity, problems, found.id))
        brief = judge_brief(found, settings)
    kept = drop_explained(check_numbers(findings, found, numbers), found, card)
    kept = join_automatic(kept, found)
    return replace(found, findings=_worst_first(kept), brief=refer(brief, kept))


def _findings(
    code: str, severity: Severity, problems: Iterable[Problem], set_id: str | None
) -> list[Finding]:
    return [
        Finding(
            code=code,
            severity=severity,
            frames=problem.frames,
            message=problem.message,
            advice=problem.advice,
            measured=problem.measured,
            set_id=set_id,
        )
        for problem in problems
    ]


def _worst_first(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    return tuple(sorted(findings, key=lambda finding: SEVERITIES.index(finding.severity)))


def headings() -> dict[str, str]:
    """Every code with the first line of its page, in the order of the checks."""
    return {code: page(code).split("\n", 1)[0] for code in CODES}


def page(code: str) -> str:
    """What a finding code means and what to do: the page of its check.

    Raises:
        GrouperError: there is no such code; names the nearest one.
    """
    if code not in CODES:
        close = difflib.get_close_matches(code, CODES, n=1)
        hint = f"; did you mean {close[0]!r}?" if close else f"; known are {', '.join(CODES)}"
        raise GrouperError(f"no finding code {code!r}{hint}")
    module = importlib.import_module(f"{__name__}.{code.replace('-', '_')}")
    return (module.__doc__ or "").strip() + "\n"
