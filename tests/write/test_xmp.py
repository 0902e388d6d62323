"""Sidecars are read back with the exiv2 binding, an XMP reader of its own."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from grouper.write import WRITERS, write_result, writers_for
from grouper.write.xmp import NAMESPACE, WRITER, packet
from tests.write.results import MADE, PANORAMA, files_of, panorama, result

exiv2 = pytest.importorskip("exiv2")


def parsed(sidecar: Path) -> dict[str, str]:
    image = exiv2.ImageFactory.open(str(sidecar))
    image.readMetadata()
    return {datum.key(): datum.toString() for datum in image.xmpData()}


def test_membership_is_read_back(tmp_path: Path) -> None:
    one = panorama(takes=("20260314-091540-qmk0009",))
    (tmp_path / "x.xmp").write_bytes(packet(one, one.members[1]))
    read = parsed(tmp_path / "x.xmp")
    assert read["Xmp.grouper.SetId"] == PANORAMA
    assert read["Xmp.grouper.SetKind"] == "panorama"
    assert [read[f"Xmp.grouper.{name}"] for name in ("Row", "View", "Leg", "Step", "Spare")] == [
        *("0", "1", "0", "0", "True")
    ]
    assert read["Xmp.dc.relation"] == (
        f"grouper-set:{PANORAMA}, grouper-set:20260314-091540-qmk0009"
    )
    assert exiv2.XmpProperties.ns("grouper") == NAMESPACE


def test_one_sidecar_per_frame_named_by_the_stem() -> None:
    files = files_of(WRITER, result(panorama()))
    assert list(files) == [f"sets/{PANORAMA}/xmp/QMK_{n:04d}.xmp" for n in (1, 2, 3, 4)]


@pytest.mark.parametrize(
    "there", ["100QMARK/QMK_0004.xmp", "100QMARK/QMK_0004.XMP", "100QMARK/QMK_0004.NEF.xmp"]
)
def test_a_frame_that_has_a_sidecar_gets_none(there: str) -> None:
    of = result(panorama())
    of = replace(of, scan=replace(of.scan, ignored=(there,)))
    files = files_of(WRITER, of)
    assert len(files) == 3
    assert f"sets/{PANORAMA}/xmp/QMK_0004.xmp" not in files


def test_only_when_asked_for(tmp_path: Path) -> None:
    assert WRITER in WRITERS
    assert WRITER not in writers_for()
    assert writers_for(["xmp"])[-1] is WRITER


@pytest.mark.parametrize("edited", [True, False], ids=["edited", "foreign"])
def test_an_existing_one_is_never_touched(tmp_path: Path, edited: bool) -> None:
    path = tmp_path / "sets" / PANORAMA / "xmp" / "QMK_0001.xmp"
    if edited:
        write_result(result(), tmp_path, made=MADE, writers=writers_for(["xmp"]))
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(b"rated by hand")
    written = write_result(result(), tmp_path, made=MADE, writers=writers_for(["xmp"]))
    assert path.read_bytes() == b"rated by hand"
    assert [p.name for p in path.parent.glob("QMK_0001*")] == ["QMK_0001.xmp"]
    assert f"sets/{PANORAMA}/xmp/QMK_0001.xmp" in written.kept
