"""What records say of themselves."""

from __future__ import annotations

import pytest

from grouper.model import camera_name


@pytest.mark.parametrize(
    ("make", "model", "name"),
    [
        ("Quillmark", "Q5", "Quillmark Q5"),
        ("Quillmark", "Quillmark Q5", "Quillmark Q5"),
        ("QUILLMARK OPTICS", "Quillmark Q5", "Quillmark Q5"),
        (None, "Q5", "Q5"),
        ("Quillmark", None, "Quillmark"),
        (" ", "Q5", "  Q5"),
        (None, None, ""),
    ],
)
def test_a_camera_is_named_once(make: str | None, model: str | None, name: str) -> None:
    assert camera_name(make, model) == name
