from __future__ import annotations

import json
from dataclasses import replace

import jsonschema
import pytest

from grouper.model import BriefLine
from grouper.write import card_object, manifest_schema
from grouper.write.brief import brief_in_short, brief_lines
from grouper.write.text import Style, findings_by_set
from tests.write.results import MADE, panorama, result

MET = BriefLine(rule="ISO", asked="at most ISO 100", found="ISO 100", passed=True)
UNMET = BriefLine(
    rule="aperture",
    asked="f/8 to f/11",
    found="f/5.6 in QMK_0003.JPG",
    passed=False,
    frames=("100QMARK/QMK_0003.JPG",),
)
UNKNOWN = BriefLine(rule="focus lock", asked="manual focus", found="not recorded", passed=None)
BRIEFED = panorama(brief=(MET, UNMET, UNKNOWN))


def table(width: int | None, *, colour: bool = False) -> list[str]:
    return "\n".join(brief_lines(BRIEFED, Style(width=width, colour=colour))).splitlines()


def test_each_rule_has_its_sign_its_word_and_both_sides() -> None:
    assert table(None) == [
        "  brief        rule        asked            found",
        "  + met        ISO         at most ISO 100  ISO 100",
        "  x NOT met    aperture    f/8 to f/11      f/5.6 in QMK_0003.JPG",
        "  ? not known  focus lock  manual focus     not recorded",
    ]


@pytest.mark.parametrize("width", [40, 50, 60, 66, 72, 80, 200])
def test_no_line_is_wider_than_the_terminal_and_nothing_is_lost(width: int) -> None:
    lines = table(width)
    assert max(map(len, lines)) <= width
    text = " ".join(" ".join(lines).split())
    for word in ("x NOT met", "aperture", "f/8 to f/11", "f/5.6 in QMK_0003.JPG", "+ met"):
        assert word in text


def test_long_values_are_wrapped_under_their_column() -> None:
    names = " and ".join(f"QMK_{number:04d}.JPG" for number in range(8))
    one = panorama(brief=(replace(UNMET, found=f"f/5.6 in {names}"),))
    lines = "\n".join(brief_lines(one, Style(width=80))).splitlines()
    assert max(map(len, lines)) <= 80
    column = lines[0].index("found")
    assert all(line[:column].strip() == "" for line in lines[2:])


def test_colour_comes_on_top_of_the_words() -> None:
    painted = table(None, colour=True)
    assert painted[2].startswith("\x1b[")
    assert "x NOT met" in painted[2]
    assert "\x1b" not in painted[1]


def test_foreign_text_is_made_harmless() -> None:
    one = panorama(brief=(replace(UNMET, found="f/5.6 in \x1b[2J.JPG"),))
    assert "\x1b" not in "\n".join(brief_lines(one, Style(width=None)))


def test_no_brief_no_table() -> None:
    assert list(brief_lines(panorama(), Style())) == []
    assert brief_in_short([panorama()]) == ""
    assert "brief" not in findings_by_set(result(panorama()), Style())


def test_in_short() -> None:
    sets = [BRIEFED, panorama(brief=(MET,)), panorama(brief=(MET, UNKNOWN)), panorama()]
    assert brief_in_short(sets) == (
        "The brief: 1 of 3 sets met, 1 not met, 1 not known in every rule."
    )
    assert brief_in_short([panorama(brief=(MET,))]) == "The brief: 1 of 1 set met."


def test_a_set_without_findings_shows_its_table_too() -> None:
    quiet = panorama(findings=(), brief=(MET,))
    text = findings_by_set(result(quiet), Style(width=None))
    assert "+ met" in text
    assert "The brief: 1 of 1 set met." in text


def test_the_manifest_has_it_as_a_key_of_the_set() -> None:
    card = json.loads(json.dumps(card_object(result(BRIEFED), MADE)))
    jsonschema.validate(card, manifest_schema())
    assert card["sets"][0]["brief"][1] == {
        "rule": "aperture",
        "asked": "f/8 to f/11",
        "found": "f/5.6 in QMK_0003.JPG",
        "passed": False,
        "frames": ["100QMARK/QMK_0003.JPG"],
    }
    assert "brief" not in card_object(result(panorama()), MADE)["sets"][0]
