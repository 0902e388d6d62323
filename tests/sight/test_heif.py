"""HEIC and AVIF pictures are looked at where a decoder is installed, and passed over where not."""

from __future__ import annotations

import builtins
import io
import subprocess
import sys
import warnings
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image, ImageOps

from grouper.model import Frame
from grouper.read import read_one
from grouper.settings import Settings
from grouper.sight import picture
from grouper.sight.load import load_upright
from grouper.sight.picture import decode, preview
from tests.read.files import exif_of, write_photo

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT.parent / "shared" / "samples"


def scene() -> Image.Image:
    """Dark at the top left, light at the bottom right, and longer than high."""
    shades = np.add.outer(np.linspace(0, 120, 120), np.linspace(0, 130, 180)).astype(np.uint8)
    return Image.fromarray(np.repeat(shades[..., None], 3, axis=2))


@pytest.mark.parametrize("suffix", [".heic", ".avif"])
@pytest.mark.parametrize("tag", [1, 3, 6, 8])
def test_a_picture_is_seen_upright(tmp_path: Path, suffix: str, tag: int) -> None:
    pillow_heif = pytest.importorskip("pillow_heif")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        pillow_heif.register_heif_opener()
    stored = scene()
    path = tmp_path / f"QMK_0001{suffix}"
    block = exif_of(orientation=tag).tobytes()
    stored.save(path, exif=block, quality=90)
    plain = io.BytesIO()
    stored.save(plain, "JPEG", exif=block, quality=95)
    expected = ImageOps.exif_transpose(Image.open(plain)).convert("L")
    frame = read_one(tmp_path, path.name, settings=Settings())
    assert isinstance(frame, Frame)
    loaded = load_upright(tmp_path, frame)
    assert loaded is not None
    shown = preview(loaded)
    small = expected.resize(shown.size, Image.Resampling.BOX)
    assert np.abs(np.asarray(small, dtype=np.float32) - np.asarray(shown.luma)).mean() < 4.0


def test_the_decoder_is_only_loaded_when_needed(tmp_path: Path) -> None:
    write_photo(tmp_path / "QMK_0001.JPG", size=(96, 64))
    code = (
        "import sys; from grouper.sight.picture import decode;"
        f"assert decode(open({str(tmp_path / 'QMK_0001.JPG')!r}, 'rb')) is not None;"
        "assert 'pillow_heif' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=True)


def test_without_the_decoder_nothing_is_seen_and_nothing_raised(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    real = builtins.__import__

    def missing(name: str, *args: Any, **kwargs: Any) -> Any:
        if name == "pillow_heif":
            raise ImportError(name)
        return real(name, *args, **kwargs)

    monkeypatch.setattr(builtins, "__import__", missing)
    picture._learn_heif.cache_clear()
    try:
        assert decode(b"\0\0\0\x18ftypheic\0\0\0\0mif1heic" + bytes(200)) is None
    finally:
        picture._learn_heif.cache_clear()


@pytest.mark.parametrize("length", [12, 30, 200, 2000])
def test_a_damaged_picture_is_none(tmp_path: Path, length: int) -> None:
    pillow_heif = pytest.importorskip("pillow_heif")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        pillow_heif.register_heif_opener()
    stream = io.BytesIO()
    noise = np.random.default_rng(1).integers(0, 255, (120, 180, 3), dtype=np.uint8)
    Image.fromarray(noise).save(stream, "HEIF", quality=90)
    data = stream.getvalue()
    assert decode(data) is not None
    assert len(data) > length
    assert decode(data[:length]) is None


@pytest.mark.skipif(not SAMPLES.is_dir(), reason="the sample files are not here")
def test_pictures_of_phones_are_seen() -> None:
    pytest.importorskip("pillow_heif")
    seen = 0
    for path in sorted((SAMPLES / "exif-samples").rglob("*.hei?")):
        frame = read_one(path.parent, path.name, settings=Settings())
        if isinstance(frame, Frame) and frame.width_px and frame.width_px > 100:
            loaded = load_upright(path.parent, frame)
            assert loaded is not None, path
            shown = preview(loaded)
            assert shown.luma.std() > 3.0
            size = frame.upright_px
            assert size is not None
            assert (size[0] > size[1]) == (shown.size[0] > shown.size[1])
            seen += 1
    assert seen >= 3
