"""Which small picture stands for a frame: thumbnails of every kind, previews, or the file."""

from __future__ import annotations

import io
import struct
from pathlib import Path
from typing import Any

import pytest
from PIL import Image, MpoImagePlugin

from grouper.model import Frame, PictureSource
from grouper.read import jpeg, mpf, read_one
from grouper.read.source import Source
from grouper.settings import Settings
from tests.read.containers import SMALL, mrw, rgb, with_further
from tests.read.files import (
    Blob,
    Directory,
    Typed,
    exif_of,
    jpeg_bytes,
    raw_bytes,
    short,
    tiff,
    write_photo,
)
from tests.read.test_maker import directory, shorts

exiv2 = pytest.importorskip("exiv2")
SHARED = Path(__file__).parents[3] / "shared"
FOREIGN = sorted(
    path
    for name in ("samples", "real")
    if (SHARED / name).is_dir()
    for path in (SHARED / name).rglob("*")
    if path.is_file() and path.suffix.lower() not in (".json", ".md")
)
VGA = jpeg_bytes((640, 427))


def frame_of(path: Path) -> Frame:
    outcome = read_one(path.parent, path.name, settings=Settings())
    assert isinstance(outcome, Frame), outcome
    return outcome


def written(path: Path, data: bytes) -> Frame:
    path.write_bytes(data)
    return frame_of(path)


def shown(path: Path, picture: PictureSource | None) -> bytes:
    assert picture is not None
    assert picture.offset is not None
    assert picture.length is not None
    return path.read_bytes()[picture.offset : picture.offset + picture.length]


# ---- uncompressed thumbnails


def raw_with(small: Directory, high: int = 4000, **more: Any) -> bytes:
    full: Directory = {0x00FE: 0, 0x0100: 6000, 0x0101: high, 0x0111: Blob(bytes(64)), 0x0117: 64}
    big: Directory = {0x00FE: 1, 0x0201: Blob(VGA), 0x0202: len(VGA)} if more.get("preview") else {}
    subs = (full, big) if big else (full,)
    return tiff({0x010F: "Quillmark", 0x0110: "Q5", 0x00FE: 1, 0x014A: subs, **small})


@pytest.mark.parametrize(
    ("size", "high"),
    [
        pytest.param((160, 120), 4000, id="any-shape-between-bars"),
        pytest.param((160, 90), 3375, id="its-own-shape"),
    ],
)
def test_an_uncompressed_thumbnail_of_a_raw_spares_the_large_preview(
    tmp_path: Path, size: tuple[int, int], high: int
) -> None:
    path = tmp_path / "QMK_0417.NEF"
    frame = written(path, raw_with(rgb(size), high, preview=True))
    assert frame.picture is not None
    assert frame.picture.kind == "thumbnail"
    expected = bytes(range(256)) * (size[0] * size[1] * 3 // 256)
    assert shown(path, frame.picture)[: len(expected)] == expected
    assert frame.picture.length == size[0] * size[1] * 3
    assert frame.upright_px == (6000, high)


@pytest.mark.parametrize(
    "changes",
    [
        {"x0100": 161}, {"x0103": short(7)}, {"x0106": short(1)}, {"x0115": short(4)},
        {"x0102": shorts(16, 16, 16)}, {"x0117": 57_599}, {"x0111": 99_999_999},
    ],
)  # fmt: skip
def test_other_strips_are_no_thumbnails(tmp_path: Path, changes: dict[str, Any]) -> None:
    path = tmp_path / "QMK_0417.NEF"
    data = raw_with(rgb(**changes), preview=True)
    path.write_bytes(data)
    outcome = read_one(tmp_path, path.name, settings=Settings())
    if isinstance(outcome, Frame):  # a strip beyond the end is a cut file
        assert shown(path, outcome.picture) == VGA


def test_a_thumbnail_in_many_strips_has_to_lie_in_a_row(tmp_path: Path) -> None:
    for gap in (0, 16):
        pixels = bytes(57_600 + 16)
        places = [2000, 2000 + 28_800 + gap]
        small = rgb(
            x0111=Typed(4, 2, struct.pack("<2I", *places)),
            x0117=Typed(4, 2, struct.pack("<2I", 28_800, 28_800)),
        )
        data = raw_with(small).ljust(2000, b"\0")[:2000] + pixels
        frame = written(tmp_path / "QMK_0417.NEF", data)
        assert (frame.picture is not None) == (gap == 0)


def test_an_uncompressed_thumbnail_of_a_jpeg(tmp_path: Path) -> None:
    block = tiff({0x010F: "Quillmark", 0x0110: "Q5"}, rgb())
    segment = b"Exif\0\0" + block
    photo = jpeg_bytes((96, 72))
    path = tmp_path / "QMK_0417.JPG"
    frame = written(
        path, photo[:2] + b"\xff\xe1" + struct.pack(">H", len(segment) + 2) + segment + photo[2:]
    )
    assert shown(path, frame.picture) == bytes(range(256)) * 225


def test_pillow_sees_the_same_uncompressed_thumbnail(tmp_path: Path) -> None:
    image = Image.linear_gradient("L").resize((160, 120)).convert("RGB")
    image.save(tmp_path / "thumb.tif")
    path = tmp_path / "thumb.tif"
    with Image.open(path) as opened:
        offset = opened.tag_v2[0x0111][0]
    data = path.read_bytes()
    assert data[offset : offset + 57_600] == image.tobytes()
    assert shown(path, frame_of(path).picture) == image.tobytes()


# ---- which JPEG of a raw


@pytest.mark.parametrize(
    ("sizes", "expected"),
    [
        pytest.param([(160, 107), (640, 427), (1600, 1067)], 0, id="the-smallest-that-is-enough"),
        pytest.param([(120, 80), (640, 427), (1600, 1067)], 1, id="not-one-too-small"),
        pytest.param([(120, 80), (140, 93)], 1, id="the-largest-of-those-too-small"),
        pytest.param([(80, 53)], None, id="none-to-be-matched"),
    ],
)
def test_the_preview_of_a_raw(
    tmp_path: Path, sizes: list[tuple[int, int]], expected: int | None
) -> None:
    pictures = [jpeg_bytes(size) for size in sizes]
    subs = tuple({0x00FE: 1, 0x0201: Blob(data), 0x0202: len(data)} for data in pictures)
    full: Directory = {0x00FE: 0, 0x0100: 6000, 0x0101: 4000}
    path = tmp_path / "QMK_0417.DNG"
    frame = written(path, tiff({0x0110: "Q5", 0x014A: (full, *subs)}))
    if expected is None:
        assert frame.picture is None
    else:
        assert shown(path, frame.picture) == pictures[expected]


def test_lossless_sensor_data_are_no_preview(tmp_path: Path) -> None:
    data = jpeg_bytes((640, 427))
    lossless = data.replace(b"\xff\xc0", b"\xff\xc3", 1)
    full: Directory = {
        0x0100: 6000, 0x0101: 4000, 0x0103: short(7), 0x0111: Blob(lossless), 0x0117: len(lossless),
    }  # fmt: skip
    frame = written(tmp_path / "QMK_0417.DNG", tiff({0x0110: "Q5", 0x014A: (full,)}))
    assert frame.picture is None


@pytest.mark.parametrize("crop", [Typed(5, 2, struct.pack("<4I", 1, 3, 1, 3)), [0, 0]])
def test_a_crop_of_nothing_is_no_size(tmp_path: Path, crop: Any) -> None:
    frame = written(
        tmp_path / "x.DNG", tiff({0x0110: "Q5", 0x0100: 6000, 0x0101: 4000, 0xC620: crop})
    )
    assert frame.upright_px == (6000, 4000)


def test_a_huge_raw_is_not_read_for_its_preview(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "QMK_0417.NEF"
    path.write_bytes(raw_bytes(preview=SMALL) + bytes(30 << 20))
    read = 0
    at = Source.at

    def counted(self: Source, offset: int, length: int) -> bytes:
        nonlocal read
        data = at(self, offset, length)
        read += len(data)
        return data

    monkeypatch.setattr(Source, "at", counted)
    assert shown(path, frame_of(path).picture) == SMALL
    assert read < 64 << 10


# ---- previews in maker notes


def olympus(head: bytes, note: dict[int, Typed], settings: dict[int, Typed] | None = None) -> bytes:
    """A note with directories that count from its start, except the oldest kind."""
    at = len(head)
    if settings is None:
        return head + directory(note, at)
    length = 2 + 12 * (len(note) + 1) + 4
    rest = directory(settings, at + length)
    entries = {**note, 0x2020: Typed(13, 1, struct.pack("<I", at + length))}
    return head + directory(entries, at) + rest


@pytest.mark.parametrize("head", [b"OLYMPUS\0II\x03\0", b"OM SYSTEM\0\0\0II\x04\0"])
def test_the_preview_of_an_olympus_raw(tmp_path: Path, head: bytes) -> None:
    at = 300  # from the note's start
    settings = {
        0x0101: Typed(4, 1, struct.pack("<I", at)),
        0x0102: Typed(4, 1, struct.pack("<I", len(VGA))),
    }
    note = olympus(head, {}, settings).ljust(at, b"\0") + VGA
    path = tmp_path / "QMK_0417.ORF"
    frame = written(path, raw_bytes(make="OLYMPUS CORPORATION", exif={0x927C: note}))
    assert shown(path, frame.picture) == VGA
    data = path.read_bytes()
    assert data.count(VGA) == 1


def test_the_thumbnail_within_an_olympus_note(tmp_path: Path) -> None:
    head = b"OLYMPUS\0II\x03\0"
    note = olympus(head, {0x0100: Typed(7, len(SMALL), SMALL)})
    path = tmp_path / "QMK_0417.ORF"
    frame = written(path, raw_bytes(make="OLYMPUS CORPORATION", exif={0x927C: note}))
    assert shown(path, frame.picture) == SMALL


@pytest.mark.parametrize(("start", "length"), [(1 << 31, 999), (300, 1 << 31), (0, 0), (12, 20)])
def test_a_preview_that_is_not_where_the_note_says(tmp_path: Path, start: int, length: int) -> None:
    settings = {
        0x0101: Typed(4, 1, struct.pack("<I", start)),
        0x0102: Typed(4, 1, struct.pack("<I", length)),
    }
    note = olympus(b"OLYMPUS\0II\x03\0", {}, settings).ljust(300, b"\0") + VGA
    path = tmp_path / "QMK_0417.ORF"
    frame = written(path, raw_bytes(make="OLYMPUS CORPORATION", exif={0x927C: note}))
    assert frame.picture is None


@pytest.mark.parametrize("from_note", [False, True])
def test_the_thumbnail_of_a_minolta_raw(tmp_path: Path, from_note: bool) -> None:
    def block(at: int) -> bytes:
        entries = {
            0x0088: Typed(4, 1, struct.pack(">I", at)),
            0x0089: Typed(4, 1, struct.pack(">I", len(SMALL))),
        }
        note = directory(entries, 0, ">").ljust(200, b"\0") + SMALL
        size: Directory = {0x0100: 3272, 0x0101: 2456}
        return tiff({0x010F: "Minolta", **size, 0x8769: {0x927C: note}}, order=">")

    probe = block(0)
    at = 200 if from_note else probe.index(SMALL)
    path = tmp_path / "PICT0417.MRW"
    assert shown(path, written(path, mrw(block(at))).picture) == SMALL


# ---- further pictures in a JPEG (CIPA DC-007)


@pytest.mark.parametrize("order", ["<", ">"])
def test_a_larger_preview_behind_the_picture(tmp_path: Path, order: str) -> None:
    depth = jpeg_bytes((320, 213), shade=3)
    data = with_further(jpeg_bytes((960, 640)), [(0, depth), (0x010001, VGA)], order)
    path = tmp_path / "QMK_0417.JPG"
    frame = written(path, data)
    assert frame.picture is not None
    assert frame.picture.kind == "preview"
    assert shown(path, frame.picture) == VGA


def test_pillow_lists_the_same_pictures(tmp_path: Path) -> None:
    data = with_further(
        jpeg_bytes((960, 640)), [(0x010001, VGA), (0x010002, SMALL), (0x020001, VGA)]
    )
    theirs = MpoImagePlugin.MpoImageFile(io.BytesIO(data)).mpinfo[0xB002]
    ours = list(mpf.further_pictures(Source(io.BytesIO(data), len(data)), 10))
    assert [one.length for one in ours] == [entry["Size"] for entry in theirs]
    assert [one.offset for one in ours[1:]] == [entry["DataOffset"] + 10 for entry in theirs[1:]]
    assert [data[one.offset : one.offset + 2] for one in ours[1:]] == [b"\xff\xd8"] * 3
    assert [entry["Attribute"]["MPType"] for entry in theirs] == [
        "Baseline MP Primary Image",
        "Large Thumbnail (VGA Equivalent)",
        "Large Thumbnail (Full HD Equivalent)",
        "Multi-Frame Image (Panorama)",
    ]
    assert [one.is_preview for one in ours] == [False, True, True, False]
    assert [one.kind == mpf.PANORAMA for one in ours] == [False, False, False, True]


def test_a_list_written_by_pillow(tmp_path: Path) -> None:
    path = tmp_path / "two.mpo"
    images = [Image.new("RGB", (96, 64), color) for color in ("teal", "olive")]
    images[0].save(path, "MPO", save_all=True, append_images=images[1:])
    with Image.open(path) as opened:
        theirs = opened.mpinfo[0xB002]  # type: ignore[attr-defined]
    data = path.read_bytes()
    source = Source(io.BytesIO(data), len(data))
    at = jpeg.walk(source).mpf_at
    assert data[at - 4 : at] == b"MPF\0"
    assert [one.length for one in mpf.further_pictures(source, at)] == [
        entry["Size"] for entry in theirs
    ]
    assert frame_of(path).picture == PictureSource(kind="main", file="two.mpo")


@pytest.mark.parametrize(
    "spoil",
    [
        b"", b"II*\0", b"II*\0\xff\xff\xff\xff", b"XX*\0\x08\0\0\0", b"II*\0\x08\0\0\0\xff\xff",
        b"II*\0\x08\0\0\0\1\0" + struct.pack("<HHII", 0xB002, 7, 0xFFFFFFFF, 0xFFFFFFFF),
        b"II*\0\x08\0\0\0\1\0" + struct.pack("<HHII", 0xB002, 7, 160, 0),
        b"II*\0\x08\0\0\0\1\0" + struct.pack("<HHII", 0xB001, 4, 1, 3),
    ],
)  # fmt: skip
def test_a_broken_list_is_no_list(tmp_path: Path, spoil: bytes) -> None:
    data = with_further(jpeg_bytes((960, 640)), [(0x010001, VGA)], spoil=spoil)
    frame = written(tmp_path / "QMK_0417.JPG", data)
    assert frame.picture == PictureSource(kind="main", file="QMK_0417.JPG")


def test_a_thumbnail_is_taken_before_a_preview(tmp_path: Path) -> None:
    main = write_photo(tmp_path / "x.jpg", size=(960, 640), thumbnail=SMALL).read_bytes()
    path = tmp_path / "QMK_0417.JPG"
    frame = written(path, with_further(main, [(0x010001, VGA)]))
    assert shown(path, frame.picture) == SMALL


# ---- composites

PHONE: dict[str, Any] = {"focal_mm": 5.6, "focal_35mm": 26}
CAMERA: dict[str, Any] = {"focal_mm": 24.0, "focal_35mm": 24}
INCH: dict[str, Any] = {"focal_mm": 8.8, "focal_35mm": 24}
UNKNOWN: dict[str, Any] = {"focal_mm": None, "focal_35mm": None}


@pytest.mark.parametrize("flag", [2, 3])
@pytest.mark.parametrize(
    ("body", "size", "expected"),
    [
        pytest.param(PHONE, (960, 720), False, id="a-phone-blends-ordinary-pictures"),
        pytest.param(PHONE, (720, 960), False, id="upright-too"),
        pytest.param(INCH, (960, 640), False, id="so-do-the-largest-phones"),
        pytest.param(PHONE, (960, 300), True, id="but-a-wide-one-is-a-panorama"),
        pytest.param(PHONE, (300, 960), True, id="or-a-tall-one"),
        pytest.param(CAMERA, (960, 640), True, id="a-cameras-word-counts"),
        pytest.param(UNKNOWN, (960, 640), True, id="as-does-that-of-an-unknown-body"),
    ],
)
def test_what_is_a_composite(
    tmp_path: Path, flag: int, body: dict[str, Any], size: tuple[int, int], expected: bool
) -> None:
    path = write_photo(tmp_path / "QMK_0001.JPG", size=size, exif={0xA460: flag}, **body)
    assert frame_of(path).composite is expected


def test_a_phone_picture_that_lists_its_panorama_is_a_composite(tmp_path: Path) -> None:
    for flag, kind, expected in ((3, mpf.PANORAMA, True), (3, 0, False), (1, mpf.PANORAMA, False)):
        main = jpeg_bytes((960, 720), exif=exif_of(exif={0xA460: flag}, **PHONE).tobytes())
        frame = written(tmp_path / "QMK_0001.JPG", with_further(main, [(kind, VGA)]))
        assert frame.composite is expected


def test_a_phone_that_flags_some_of_a_sweep(tmp_path: Path) -> None:
    from grouper.read import read_frames

    for number in range(1, 8):
        write_photo(
            tmp_path / f"QMK_{number:04d}.JPG",
            size=(960, 720),
            exif={0xA460: 3 if number in (3, 5) else 1},
            **PHONE,
        )
    names = sorted(path.name for path in tmp_path.iterdir())
    result = read_frames(tmp_path, names, Settings())
    assert [frame.composite for frame in result.frames] == [False] * 7


# ---- against other libraries


@pytest.mark.skipif(not FOREIGN, reason="the sample files are not here")
def test_foreign_previews_agree_with_exiv2() -> None:
    """What is used is one of the previews that exiv2 knows, and Pillow decodes it."""
    exiv2.LogMsg.setLevel(exiv2.LogMsg.Level.mute)
    compared = 0
    for path in FOREIGN:
        outcome = read_one(path.parent, path.name, settings=Settings())
        if not isinstance(outcome, Frame) or outcome.picture is None:
            continue
        if outcome.picture.offset is None:
            continue
        data = shown(path, outcome.picture)
        with Image.open(io.BytesIO(data)) as image:
            image.draft("RGB", (160, 160))
            assert max(image.size) >= 100, path
        try:
            image = exiv2.ImageFactory.open(str(path))
            image.readMetadata()
            manager = exiv2.PreviewManager(image)
            known = [
                bytes(manager.getPreviewImage(one).data()) for one in manager.getPreviewProperties()
            ]
        except exiv2.Exiv2Error:
            continue
        compared += 1
        assert data in known, path
    assert compared > 100


@pytest.mark.skipif(not FOREIGN, reason="the sample files are not here")
def test_foreign_lists_agree_with_pillow() -> None:
    compared = 0
    for path in FOREIGN:
        data = path.read_bytes()
        if data[:2] != b"\xff\xd8":
            continue
        source = Source(io.BytesIO(data), len(data))
        at = jpeg.walk(source).mpf_at
        if not at:
            continue
        try:
            theirs = MpoImagePlugin.MpoImageFile(io.BytesIO(data)).mpinfo[0xB002]
        except (SyntaxError, KeyError, OSError, AttributeError):
            continue
        compared += 1
        ours = list(mpf.further_pictures(source, at))
        assert [one.length for one in ours] == [entry["Size"] for entry in theirs], path
    assert compared >= 1
