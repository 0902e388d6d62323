from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from grouper.errors import CannotWrite
from grouper.write.paths import check_unique_ids, checked, set_folder, unique_names
from tests.write.results import bracket, panorama


@pytest.mark.parametrize("set_id", ["20260314-091412-abc0417", "a", "A_b.c-1", "x" * 100])
def test_good_ids(set_id: str) -> None:
    assert set_folder(panorama(id=set_id)) == f"sets/{set_id}"


@pytest.mark.parametrize("set_id", ["x" * 101, "a/b", "a\nb", "a ", "ä", "", "..", ".a", "a."])
def test_bad_ids(set_id: str) -> None:
    with pytest.raises(CannotWrite):
        set_folder(panorama(id=set_id))


def test_ids_that_a_file_system_may_confuse() -> None:
    check_unique_ids([panorama(), bracket()])
    with pytest.raises(CannotWrite, match="share"):
        check_unique_ids([panorama(id="ABC"), bracket(id="abc")])


@pytest.mark.parametrize("path", ["card.json", "sets/a/set.json", "a b/ü.txt"])
def test_good_paths(path: str) -> None:
    assert checked(path, "x") == path


@given(st.lists(st.text(alphabet="aAbB_1/.", min_size=1), unique=True))
def test_names_are_unique_whatever_the_files(files: list[str]) -> None:
    names = unique_names(files)
    assert list(names) == files
    assert len({name.casefold() for name in names.values()}) == len(files)
    assert not any("/" in name for name in names.values())


def test_names_stay_where_they_can() -> None:
    assert unique_names(["a/x.jpg", "b/y.jpg", "a/y.jpg"]) == {
        "a/x.jpg": "x.jpg",
        "b/y.jpg": "b_y.jpg",
        "a/y.jpg": "a_y.jpg",
    }
