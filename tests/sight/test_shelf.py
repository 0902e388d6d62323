"""What is put on the shelf: given back as it was, from the disk too, or known to be lost."""

from __future__ import annotations

import tempfile

import numpy as np
import pytest

from grouper import spool
from grouper.sight.picture import preview, stood_up
from grouper.sight.plate import ShelvedPlate, prepare, shelved
from grouper.sight.shelf import Shelf
from grouper.spool import Spool

FILES = ("a", "b", "c", "d", "e")


def packed(number: int) -> ShelvedPlate:
    """A plate that can be told from the others by its size and all that it shows."""
    return ShelvedPlate((number, 40), 6000.0, True, b"", ((3, 2),), bytes([number] * 7))


def filled(at_hand: int) -> Shelf:
    shelf = Shelf(at_hand)
    for number, file in enumerate(FILES):
        shelf.put(file, packed(number))
    return shelf


def number_of(plate: ShelvedPlate | None) -> int:
    assert plate is not None
    assert plate.data == bytes([plate.size[0]] * 7)
    return plate.size[0]


def refuse(*_: object, **__: object) -> None:
    raise OSError("no room")


@pytest.fixture(params=[1, 1 << 20], ids=["from-the-disk", "not-yet-there"])
def at_once(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(spool, "_AT_ONCE", request.param)


@pytest.mark.usefixtures("at_once")
def test_each_file_is_given_its_own_plate_back() -> None:
    shelf = filled(at_hand=2)
    for at in (0, 4, 2, 0, 3, 1, 4):  # what was fetched makes others rest again
        assert number_of(shelf.get(FILES[at])) == at
    assert all(file in shelf for file in FILES)


@pytest.mark.usefixtures("at_once")
def test_a_picture_that_is_none_stays_none() -> None:
    shelf = Shelf(1)
    for file in FILES:
        shelf.put(file, None if file == "b" else packed(1))
    assert "b" in shelf
    assert shelf.get("b") is None
    assert shelf.get("a") is not None


def test_what_was_used_last_is_at_hand(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tempfile, "TemporaryFile", refuse)
    monkeypatch.setattr(spool, "_AT_ONCE", 1)
    shelf = Shelf(2)
    shelf.put("lost at once", packed(0))
    for file in FILES[:2]:
        shelf.put(file, packed(1))
    shelf.get("a")
    shelf.put("c", packed(2))
    assert [file for file in FILES if file in shelf] == ["a", "c"]


def test_what_was_never_put_there_is_not_there() -> None:
    shelf = filled(at_hand=2)
    assert "f" not in shelf
    with pytest.raises(KeyError):
        shelf.get("f")


def test_what_the_disk_refuses_is_lost_and_said_to_be(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tempfile, "TemporaryFile", refuse)
    monkeypatch.setattr(spool, "_AT_ONCE", 1)
    shelf = filled(at_hand=2)
    # Only the first was put by before the disk was known to refuse.
    assert [file in shelf for file in FILES[1:]] == [False, False, True, True]
    assert [number_of(shelf.get(file)) for file in "de"] == [3, 4]
    with pytest.raises(KeyError):
        shelf.get("b")


def test_what_the_disk_does_not_give_back_is_lost(monkeypatch: pytest.MonkeyPatch) -> None:
    def lost(self: Spool, number: int) -> bytes:
        raise OSError("gone")

    shelf = filled(at_hand=2)
    monkeypatch.setattr(Spool, "get", lost)
    with pytest.raises(KeyError):
        shelf.get("a")
    assert number_of(shelf.get("e")) == 4


def test_a_plate_that_comes_and_goes_is_put_by_once(monkeypatch: pytest.MonkeyPatch) -> None:
    taken: list[bytes] = []
    put = Spool.put

    def counted(self: Spool, data: bytes) -> int:
        taken.append(data)
        return put(self, data)

    monkeypatch.setattr(Spool, "put", counted)
    shelf = filled(at_hand=2)
    for _ in range(3):
        assert [number_of(shelf.get(file)) for file in FILES] == [0, 1, 2, 3, 4]
    assert len(taken) == len(set(taken)) == len(FILES)


@pytest.mark.parametrize("size", [(160, 107), (161, 47), (37, 13), (12, 12)])
def test_a_plate_is_taken_down_as_it_was_put_by(size: tuple[int, int]) -> None:
    shown = np.random.default_rng(7).integers(0, 255, (size[1], size[0], 3), np.uint8)
    shown[: size[1] // 3] = 255  # clipped
    plate = prepare(preview(stood_up(shown, None, 1)))
    again = shelved(plate).taken_down()
    assert again.sizes == plate.sizes
    for one, other in zip(again.levels, plate.levels, strict=True):
        assert (one.good == other.good).all()
        assert not one.good.all()
        assert np.abs(one.band - other.band).max() <= 0.5 / 127 + 1e-6
    assert again.size == plate.size
    assert again.full_px == plate.full_px
    assert again.is_telling == plate.is_telling
    assert again.profile.tolist() == plate.profile.tolist()
