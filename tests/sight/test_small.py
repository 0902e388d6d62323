from __future__ import annotations

import io
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from grouper.model import Frame, PictureSource
from grouper.pipeline import run
from grouper.settings import Settings, SightSettings
from grouper.sight import open_eye
from grouper.sight.load import load_upright
from grouper.sight.small import (
    _STEPS,
    SmallPictures,
    _encoded,
    _jpeg,
    _likely_step,
    small_picture,
)
from grouper.spool import Spool
from tests.sight.scenes import held, town, view
from tests.support import frame

RED, BLUE = (220, 30, 30), (30, 30, 220)


def split(width: int, height: int) -> Image.Image:
    """Red above, blue below."""
    picture = Image.new("RGB", (width, height), BLUE)
    picture.paste(RED, (0, 0, width, height // 2))
    return picture


def stored(root: Path, picture: Image.Image, number: int = 1, **changes: object) -> Frame:
    one = frame(number, width_px=picture.width, height_px=picture.height, **changes)
    path = root / one.file
    path.parent.mkdir(exist_ok=True)
    exif = Image.Exif()
    exif[0x010F] = "Quillmark"
    picture.save(path, "JPEG", quality=95, exif=exif)
    return one


def opened(data: bytes | None) -> Image.Image:
    assert data is not None
    picture = Image.open(io.BytesIO(data))
    picture.load()
    return picture


def noise(width: int, height: int) -> Image.Image:
    seen = np.random.default_rng(7).integers(0, 256, (height, width, 3), dtype=np.uint8)
    return Image.fromarray(seen)


def test_small_and_without_metadata(tmp_path: Path) -> None:
    picture = opened(small_picture(tmp_path, stored(tmp_path, split(1200, 800))))
    assert picture.format == "JPEG"
    assert max(picture.size) <= 220
    assert picture.width / picture.height == pytest.approx(1.5, rel=0.02)
    assert not picture.getexif()


@pytest.mark.parametrize(
    ("orientation", "red_at"),
    [(1, "top"), (3, "bottom"), (6, "right"), (8, "left"), (4, "bottom"), (5, "left")],
)
def test_upright(tmp_path: Path, orientation: int, red_at: str) -> None:
    """Exif Orientation as in TIFF 6.0: 6 is turned clockwise by 90 degrees for showing."""
    one = stored(tmp_path, split(300, 200), orientation=orientation)
    picture = opened(small_picture(tmp_path, one))
    wide, tall = picture.size
    places = {
        "top": (wide // 2, 3),
        "bottom": (wide // 2, tall - 4),
        "left": (3, tall // 2),
        "right": (wide - 4, tall // 2),
    }
    pixel = picture.getpixel(places[red_at])
    assert isinstance(pixel, tuple)
    assert pixel[0] > 150 > pixel[2]


def test_bars_are_cut(tmp_path: Path) -> None:
    """A DCF thumbnail is 160 x 120 with bars above and below a 3:2 picture (CIPA DC-009)."""
    thumbnail = Image.new("RGB", (160, 120))
    thumbnail.paste(split(160, 106), (0, 7))
    buffer = io.BytesIO()
    thumbnail.save(buffer, "JPEG", quality=95)
    one = frame(
        width_px=6000,
        height_px=4000,
        picture=PictureSource(
            kind="thumbnail",
            file="100QMARK/QMK_0001.JPG",
            offset=0,
            length=len(buffer.getvalue()),
        ),
    )
    (tmp_path / "100QMARK").mkdir()
    (tmp_path / one.file).write_bytes(buffer.getvalue())
    picture = opened(small_picture(tmp_path, one))
    assert picture.width / picture.height == pytest.approx(1.5, rel=0.03)
    top = picture.getpixel((80, 0))
    assert isinstance(top, tuple)
    assert top[0] > 100


@pytest.mark.parametrize(
    "content", [b"", b"\xff\xd8\xff\xe0 not a picture", b"text"], ids=["empty", "damaged", "text"]
)
def test_a_bad_picture_is_not_there(tmp_path: Path, content: bytes) -> None:
    one = frame()
    (tmp_path / "100QMARK").mkdir()
    (tmp_path / one.file).write_bytes(content)
    pictures = SmallPictures(tmp_path, [one, frame(2)])
    assert one.file not in pictures
    assert list(pictures) == []
    with pytest.raises(KeyError):
        pictures["100QMARK/QMK_0002.JPG"]
    with pytest.raises(KeyError):
        pictures["no such frame"]


def test_a_mapping_in_the_order_of_the_frames(tmp_path: Path) -> None:
    frames = [stored(tmp_path, split(60 + n, 60), n) for n in range(80)]
    pictures = SmallPictures(tmp_path, frames, jobs=2)
    assert list(pictures) == [one.file for one in frames]
    assert len(pictures) == 80
    once, again = dict(pictures), dict(pictures)
    assert once == again
    alone = {one.file: small_picture(tmp_path, one) for one in reversed(frames)}
    assert once == alone
    assert pictures[frames[70].file] == once[frames[70].file]  # out of order, too


def test_coarser_where_there_is_little_room(tmp_path: Path) -> None:
    one = stored(tmp_path, noise(320, 240))
    sizes = [len(small_picture(tmp_path, one, most) or b"") for most in (10**6, 9000, 4000, 1500)]
    assert sizes == sorted(sizes, reverse=True)
    assert sizes[1] <= 9000
    assert sizes[2] <= 4000
    opened(small_picture(tmp_path, one, 1500))


@pytest.mark.parametrize("blur", [0, 1, 3, 9])
@pytest.mark.parametrize("most_bytes", [500, 1500, 2500, 4000, 6000])
def test_the_step_chosen_is_about_the_first_that_fits(blur: int, most_bytes: int) -> None:
    """From foliage to mist: a step too early costs time, one too late sharpness."""
    seen = view(town(11), held(40.0 * blur), upright=False, long_px=160)
    grain = np.random.default_rng(7).normal(0, 12, seen.shape[:2])[..., None]
    pixels = np.clip(seen + grain, 0, 255).astype(np.uint8)
    if blur:
        pixels = np.asarray(cv2.GaussianBlur(pixels, (0, 0), blur), np.uint8)
    sizes = [len(_jpeg(pixels, step, best_tables=True)) for step in _STEPS]
    first = next((at for at, size in enumerate(sizes) if size <= most_bytes), len(sizes) - 1)
    assert abs(_likely_step(pixels, most_bytes) - first) <= 1
    assert len(_encoded(pixels, most_bytes)) <= max(most_bytes, sizes[-1])


def test_a_picture_kept_twice_is_put_by_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept: list[bytes] = []
    put = Spool.put

    def counted(self: Spool, data: bytes) -> int:
        kept.append(data)
        return put(self, data)

    monkeypatch.setattr(Spool, "put", counted)
    frames = [stored(tmp_path, split(60 + n, 60), n) for n in range(2)]
    pictures = SmallPictures(tmp_path, frames)
    for one in (frames[1], frames[0], frames[1]):
        shown = load_upright(tmp_path, one)
        assert shown is not None
        pictures.keep(one, shown)
    assert [pictures[one.file] for one in reversed(frames)] == kept


def test_pictures_made_while_looking_are_the_same(tmp_path: Path) -> None:
    frames = [stored(tmp_path, split(60 + n, 60), n) for n in range(5)]
    pictures = SmallPictures(tmp_path, frames)
    eye = open_eye(tmp_path, Settings(), keep=pictures.keep)
    eye.glance(frames)
    expected = {one.file: small_picture(tmp_path, one) for one in frames}
    for one in frames:
        (tmp_path / one.file).unlink()
    assert {one.file: pictures[one.file] for one in frames} == expected


def test_a_picture_that_was_put_by_and_lost_is_made_anew(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    one = stored(tmp_path, split(300, 200))
    pictures = SmallPictures(tmp_path, [one])
    before = pictures[one.file]

    def lost(self: Spool, number: int) -> bytes:
        raise OSError(5, "lost")

    monkeypatch.setattr(Spool, "get", lost)
    assert pictures[one.file] == before
    (tmp_path / one.file).unlink()
    with pytest.raises(KeyError):
        pictures[one.file]


def test_progress_is_told(tmp_path: Path) -> None:
    told: list[tuple[str, int, int]] = []
    frames = [stored(tmp_path, split(60, 60), n) for n in range(3)]
    pictures = SmallPictures(
        tmp_path, frames, progress=lambda what, done, total: told.append((what, done, total))
    )
    dict(pictures)
    assert told[-1] == ("drawing", 3, 3)


@pytest.mark.parametrize("looks", [True, False])
def test_people_see_pictures_even_without_sight(tmp_path: Path, looks: bool) -> None:
    frames = [stored(tmp_path, split(90, 60), n) for n in range(2)]
    settings = Settings(sight=SightSettings(enabled=looks))
    assert sorted(run([tmp_path], settings).pictures) == [one.file for one in frames]


@pytest.mark.parametrize("looks", [True, False])
def test_pictures_made_for_the_report_are_the_same(tmp_path: Path, looks: bool) -> None:
    frames = [stored(tmp_path, split(90 + n, 60), n) for n in range(3)]
    settings = Settings(sight=SightSettings(enabled=looks))
    result = run([tmp_path], settings, for_report=True)
    expected = {one.file: small_picture(tmp_path, one) for one in frames}
    if looks:  # every file was opened as it was looked at
        for one in frames:
            (tmp_path / one.file).unlink()
    assert {one.file: result.pictures[one.file] for one in frames} == expected


def test_photographs_are_only_read(tmp_path: Path) -> None:
    one = stored(tmp_path, split(300, 200))
    before = (tmp_path / one.file).read_bytes(), (tmp_path / one.file).stat().st_mtime_ns
    dict(SmallPictures(tmp_path, [one]))
    assert ((tmp_path / one.file).read_bytes(), (tmp_path / one.file).stat().st_mtime_ns) == before
