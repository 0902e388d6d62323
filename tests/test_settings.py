"""Settings files that cannot be used: one sentence that names the file and the way out."""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path

import pytest

from grouper.errors import BadSettings
from grouper.settings import CheckSettings, load_settings, settings_from


def complaint(path: Path) -> str:
    with pytest.raises(BadSettings) as caught:
        load_settings(path)
    text = str(caught.value)
    assert text.startswith(f"{path}: ")
    assert "Errno" not in text
    return text


def test_a_missing_file_is_named_with_the_way_out(tmp_path: Path) -> None:
    assert "no such settings file" in complaint(tmp_path / "mine.toml")
    assert "leave --settings out" in complaint(tmp_path / "mine.toml")


def test_a_folder_is_no_settings_file(tmp_path: Path) -> None:
    assert "this is a folder" in complaint(tmp_path)


@pytest.mark.parametrize(
    ("data", "said"), [(b"\xff\xfe", "not UTF-8"), (b"[check\n", "this is not TOML")]
)
def test_what_is_no_toml(tmp_path: Path, data: bytes, said: str) -> None:
    path = tmp_path / "mine.toml"
    path.write_bytes(data)
    assert said in complaint(path)


def test_a_byte_order_mark_and_line_ends_of_any_editor_do_not_matter(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_bytes(b"\xef\xbb\xbf[brief]\r\nlegs = 3\r\n")
    assert load_settings(path) == settings_from({"brief": {"legs": 3}})


def test_a_near_miss_names_the_key_meant() -> None:
    with pytest.raises(BadSettings, match="did you mean 'clock_jump_s'"):
        settings_from({"check": {"clock_jmp_s": 1.0}})


def test_an_unknown_key_says_where_the_keys_stand_and_does_not_list_them() -> None:
    with pytest.raises(BadSettings) as caught:
        settings_from({"check": {"foo": 1.0}}, "mine.toml")
    text = str(caught.value)
    assert text.startswith("mine.toml: [check] has no key 'foo'")
    assert '"settings" in the card.json' in text
    assert not any(item.name in text for item in fields(CheckSettings))


def test_a_short_list_of_names_is_given() -> None:
    with pytest.raises(BadSettings, match=r"no section \[qqqq\]; known are .*check"):
        settings_from({"qqqq": {}})
