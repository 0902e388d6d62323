"""Reading foreign files, many of them odd, some broken on purpose, where they are present."""

from __future__ import annotations

import time
from pathlib import Path

import pytest
from PIL import Image

from grouper.discover import find_files
from grouper.model import Frame, Unread
from grouper.read import read_frames, read_one
from grouper.settings import Settings

SHARED = Path(__file__).parents[3] / "shared"
REAL, SAMPLES = SHARED / "real", SHARED / "samples"
needs_samples = pytest.mark.skipif(not SAMPLES.is_dir(), reason="the sample files are not here")
needs_real = pytest.mark.skipif(not REAL.is_dir(), reason="the real photographs are not here")

MOST_SECONDS = 1.0
"""No file may hold up a card for longer; the slowest takes some milliseconds."""


def files_of(folder: Path) -> list[Path]:
    return sorted(path for path in folder.rglob("*") if path.is_file())


def frames_of(name: str) -> dict[str, Frame]:
    found = find_files([REAL / name / "card"], Settings())
    return {frame.file: frame for frame in read_frames(found.root, found.files, Settings()).frames}


@needs_samples
def test_every_sample_ends_somewhere_and_soon() -> None:
    found = find_files([SAMPLES], Settings())
    unread = {}
    for file in found.files:
        start = time.perf_counter()
        outcome = read_one(SAMPLES, file, settings=Settings())
        assert time.perf_counter() - start < MOST_SECONDS, file
        if isinstance(outcome, Unread):
            unread[file] = outcome.reason
    # Every JPEG of one collection was cut to its metadata; X3F is a format that is not read.
    whole = {file: why for file, why in unread.items() if not file.startswith("goexif-samples")}
    assert whole == {
        "header-only/Sigma.x3f": "unknown-format",
        "header-only/SigmaDP2.x3f": "unknown-format",
    }
    assert set(unread.values()) <= {"truncated", "unknown-format"}


@needs_samples
def test_the_sum_holds_over_the_samples() -> None:
    found = find_files([SAMPLES], Settings())
    result = read_frames(found.root, found.files, Settings())
    count = sum(1 + len(frame.companions) for frame in result.frames)
    count += len(result.unread) + len(result.ignored) + len(found.ignored) + len(found.unread)
    assert count == len(files_of(SAMPLES))


@needs_real
def test_every_real_photograph_becomes_a_frame_with_its_size() -> None:
    found = find_files([REAL], Settings())
    result = read_frames(found.root, found.files, Settings())
    assert not result.unread
    assert len(result.frames) > 300
    for frame in result.frames:
        with Image.open(REAL / frame.file) as image:
            assert (frame.width_px, frame.height_px) == image.size, frame.file


@needs_real
def test_real_thumbnails_are_where_they_are_said_to_be() -> None:
    found = find_files([REAL], Settings())
    frames = read_frames(found.root, found.files, Settings()).frames
    thumbnails = [frame for frame in frames if frame.picture and frame.picture.offset]
    assert len(thumbnails) > 200
    for frame in thumbnails:
        picture = frame.picture
        assert picture is not None
        assert picture.offset is not None
        with (REAL / picture.file).open("rb") as stream:
            stream.seek(picture.offset)
            block = stream.read(picture.length or 0)
        assert block[:3] == b"\xff\xd8\xff", frame.file
        assert len(block) == picture.length


@needs_real
@pytest.mark.parametrize(
    ("card", "start", "orientation"),
    [
        # The tag says "turn", the pixels stand upright already.
        pytest.param("ntu-s45", "csie/", 1, id="stale"),
        # The tag says "turn", and the pixels do lie.
        pytest.param("kevin-xperia-lab", "LAB", 6, id="still-to-be-turned"),
        pytest.param("achin-panos", "book/", 1, id="turned-and-reset"),
    ],
)
def test_real_orientations(card: str, start: str, orientation: int) -> None:
    frames = [frame for file, frame in frames_of(card).items() if file.startswith(start)]
    assert len(frames) > 5
    assert {frame.orientation for frame in frames} == {orientation}
    assert {frame.is_upright for frame in frames} == {True}


@needs_real
@pytest.mark.parametrize(
    ("card", "long_mm", "share"),
    # Published sensor lengths; within the rounding of a whole-millimetre equivalent, or within
    # a wider share where the length had to be assumed.
    [
        pytest.param("achin-panos", 23.4, 0.05, id="NEX-5"),
        pytest.param("bigchou-xh1-hdr", 23.5, 0.05, id="X-H1"),
        pytest.param("ehsienmu-600d-hdr", 22.3, 0.05, id="600D"),
        pytest.param("hsiaoyi-grass", 13.2, 0.05, id="G7-X"),
        pytest.param("ntu-s45", 7.2, 0.05, id="S45"),
        pytest.param("sunsided-focus", 22.7, 0.05, id="300D"),
        pytest.param("timelapse-s60", 7.2, 0.05, id="S60"),
        pytest.param("brighton-survey", 6.2, 0.12, id="drone"),
        pytest.param("kevin-xperia-lab", 6.2, 0.10, id="phone-assumed"),
        pytest.param("marky-pixel7-hdr", 9.8, 0.10, id="large-phone-assumed"),
        pytest.param("pixelxl-checkerboard", 6.2, 0.10, id="other-phone-assumed"),
    ],
)
def test_real_sensors(card: str, long_mm: float, share: float) -> None:
    for frame in frames_of(card).values():
        assert frame.sensor_long_mm == pytest.approx(long_mm, rel=share), frame.file


@needs_real
def test_a_drones_gimbal_looks_down() -> None:
    for frame in frames_of("brighton-survey").values():
        assert frame.attitude is not None
        assert frame.attitude.pitch_deg == pytest.approx(-90.0, abs=1.0)
        assert frame.latitude_deg is not None


@needs_real
def test_clocks_in_names_are_no_counters() -> None:
    for card in ("timelapse-s60", "pixelxl-checkerboard"):
        assert {frame.counter for frame in frames_of(card).values()} == {None}
