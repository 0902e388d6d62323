from __future__ import annotations

import pytest

from grouper.check import words


@pytest.mark.parametrize(
    ("listed", "text"),
    [
        ([], ""),
        (["a"], "a"),
        (["a", "b"], "a and b"),
        (["a", "b", "c", "d"], "a, b, c and d"),
        (["a", "b", "c", "d", "e"], "a, b, c and 2 more"),
    ],
)
def test_lists(listed: list[str], text: str) -> None:
    assert words.listed(listed) == text


@pytest.mark.parametrize(
    ("exposure_s", "text"),
    [
        (1 / 8000, "1/8000 s"),
        (0.0166667, "1/60 s"),
        (0.25, "1/4 s"),
        (0.3, "0.3 s"),
        (0.5, "0.5 s"),
        (1.3, "1.3 s"),
        (30.0, "30 s"),
    ],
)
def test_shutter_speeds_read_as_on_a_camera(exposure_s: float, text: str) -> None:
    assert words.shutter(exposure_s) == text


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0.5, "0.5 s"),
        (4.1, "4.1 s"),
        (10.0, "10 s"),
        (192.0, "3 min 12 s"),
        (-3600.0, "1 h"),
        (3600.0 * 25, "1 day 1 h"),
        (86400.0 * 3, "3 days"),
        (59.9, "1 min"),
    ],
)
def test_durations(seconds: float, text: str) -> None:
    assert words.duration(seconds) == text


def test_signs_and_spans() -> None:
    assert words.signed_stops(-2.0) == "−2 EV"
    assert words.signed_stops(0.7) == "+0.7 EV"
    assert words.signed_stops(-0.01) == "0 EV"
    assert words.span("35°", "36°") == "35 to 36°"
    assert words.span("36°", "36°") == "36°"
    assert words.degrees(1.24) == "1.2°"
    assert words.distance(float("inf")) == "infinity"
    assert words.distance(0.45) == "45 cm"
    assert words.file_numbers([4, 5, 6]) == "0004 to 0006"
    assert words.file_numbers([4, 5]) == "0004 and 0005"
    assert words.file_numbers([9998, 9999, 1]) == "9998 to 0001"
    assert words.file_numbers([1, 5, 6, 7, 9]) == "0001, 0005 to 0007 and 0009"
