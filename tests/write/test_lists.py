from __future__ import annotations

from dataclasses import replace

import pytest

from grouper.model import Set
from grouper.write.lists import WRITER, without_lists
from tests.support import frame
from tests.write.results import BRACKET, PANORAMA, bracket, files_of, panorama, renamed, result


def lines(data: bytes) -> list[str]:
    assert data.endswith(b"\n")
    return data.decode().removesuffix("\n").split("\n")


def test_frames_in_shooting_order_with_spares() -> None:
    files = files_of(WRITER, result(panorama()))
    assert list(files) == [f"sets/{PANORAMA}/frames.txt"]
    assert lines(files[f"sets/{PANORAMA}/frames.txt"]) == [
        f"/media/ilse/QMARK/100QMARK/QMK_{number:04d}.JPG" for number in (1, 2, 3, 4)
    ]


def test_a_list_per_leg_where_there_are_several() -> None:
    files = files_of(WRITER, result(bracket()))
    names = ["frames", "leg-0", "leg-1", "leg-2"]
    assert list(files) == [f"sets/{BRACKET}/{name}.txt" for name in names]
    assert lines(files[f"sets/{BRACKET}/leg-2.txt"]) == ["/media/ilse/QMARK/100QMARK/QMK_0022.JPG"]


def test_steps_too_and_without_spares() -> None:
    one = bracket(kind="focus-stack")
    members = [replace(m, leg=0, step=m.leg) for m in one.members]
    members.append(replace(members[0], frame=frame(25), spare=True))
    one = replace(one, members=tuple(members))
    files = files_of(WRITER, result(one))
    assert len(lines(files[f"sets/{BRACKET}/frames.txt"])) == 4
    assert lines(files[f"sets/{BRACKET}/step-0.txt"]) == ["/media/ilse/QMARK/100QMARK/QMK_0020.JPG"]
    assert not any("leg-" in path for path in files)


def test_odd_bytes_stay_as_the_file_system_has_them() -> None:
    files = files_of(WRITER, result(renamed(panorama(), "QMK_0001", "QMK_\udcff")))
    first = files[f"sets/{PANORAMA}/frames.txt"].split(b"\n")[0]
    assert first == b"/media/ilse/QMARK/100QMARK/QMK_\xff.JPG"


@pytest.mark.parametrize("sign", ["\n", "\r"])
def test_a_line_break_in_a_path_leaves_that_set_without_lists(sign: str) -> None:
    of = result(renamed(panorama(), "QMK_0001", f"QMK{sign}1"), bracket())
    assert without_lists(of) == (PANORAMA,)
    assert all(path.startswith(f"sets/{BRACKET}/") for path in files_of(WRITER, of))


@pytest.mark.parametrize("one", [panorama(), bracket()])
def test_a_root_of_slash_does_not_double_it(one: Set) -> None:
    data = files_of(WRITER, result(one, root="/"))[f"sets/{one.id}/frames.txt"]
    assert lines(data)[0].startswith("/100QMARK/")
