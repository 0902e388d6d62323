"""How long looking at the small pictures takes, beside matching features of the large ones.

Run ``python -m testdata.benchmarks.sight_speed [FOLDER]``. Without a folder a rehearsal day is
rendered first. Both do the same links: neighbours in shooting order, which is what grouping
asks for most. Features are OpenCV's SIFT on pictures 900 pixels long, matched both ways and
checked by a RANSAC homography: the usual way to recognise overlapping pictures (Brown & Lowe
2007). Processor time of this process; run it on an idle machine.
"""

from __future__ import annotations

import itertools
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from grouper.discover import find_files
from grouper.model import Frame
from grouper.read import read_frames
from grouper.settings import Settings
from grouper.sight import open_eye
from testdata.rehearsal.cards import day_card
from testdata.rehearsal.render import render_card, usual_jobs

LONG_PX = 900
MOST_FEATURE_LINKS = 40
"""Feature matching is so much slower that a sample has to do."""


def main(folder: Path) -> None:
    """Print milliseconds a frame and a link for both."""
    found = find_files([folder], Settings())
    root = Path(found.root)
    frames = list(read_frames(root, found.files, Settings()).frames)
    frames = [one for one in frames if one.picture is not None]
    links = list(itertools.pairwise(frames))
    open_eye(root, Settings()).compare(links[:20])  # maps of the sphere, imports

    eye = open_eye(root, Settings())
    looking = _cpu_s(lambda: eye.glance(frames))
    seen = []
    comparing = _cpu_s(lambda: seen.extend(eye.compare(links)))
    certain = np.array([0.0 if one is None else one.certainty for one in seen])
    chosen = links[:: max(1, len(links) // MOST_FEATURE_LINKS)][:MOST_FEATURE_LINKS]
    matching = _cpu_s(lambda: _match_features(root, chosen)) / len(chosen)
    per_link = (looking + comparing) / len(links)
    print(f"{len(frames)} frames, {len(links)} links, {(certain > 0.5).mean():.0%} overlap")
    print(f"decoding, glance, preparing: {1000 * looking / len(frames):8.2f} ms a frame")
    print(f"comparing                  : {1000 * comparing / len(links):8.2f} ms a link")
    for name, linked in (("overlapping", True), ("strangers", False)):
        part = [link for link, c in zip(links, certain, strict=True) if bool(c > 0.5) is linked]
        if part:
            spent = _cpu_s(lambda part=part: open_eye(root, Settings()).compare(part))  # type: ignore[misc]
            print(f"  {name:25}: {1000 * spent / len(part):8.2f} ms a link, decoding included")
    print(f"features on {LONG_PX} px         : {1000 * matching:8.2f} ms a link")
    print(f"features take              : {matching / per_link:8.1f} times as long")


def _cpu_s(work: Callable[[], Any]) -> float:
    start = time.process_time()
    work()
    return time.process_time() - start


def _match_features(root: Path, links: Sequence[tuple[Frame, Frame]]) -> int:
    """Homographies found between the main pictures at ``LONG_PX``."""
    cv2.setNumThreads(1)
    sift = cv2.SIFT_create()  # type: ignore[attr-defined]
    matcher = cv2.BFMatcher(cv2.NORM_L2, crossCheck=True)
    told: dict[str, Any] = {}
    found = 0
    for pair in links:
        for frame in pair:
            if frame.file not in told:
                told[frame.file] = sift.detectAndCompute(_large(root / frame.file), None)
        (points_a, words_a), (points_b, words_b) = (told[frame.file] for frame in pair)
        if words_a is None or words_b is None or min(len(words_a), len(words_b)) < 8:
            continue
        matches = matcher.match(words_a, words_b)
        if len(matches) < 8:
            continue
        a = np.array([points_a[match.queryIdx].pt for match in matches], np.float32)
        b = np.array([points_b[match.trainIdx].pt for match in matches], np.float32)
        homography, inside = cv2.findHomography(b, a, cv2.RANSAC, 3.0)
        # Brown & Lowe 2007: n inliers > 8 + 0.3 n features in the overlap.
        if homography is not None and inside.sum() > 8 + 0.3 * len(matches):
            found += 1
    return found


def _large(path: Path) -> Any:
    picture = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
    if picture is None:
        return np.zeros((LONG_PX, LONG_PX), np.uint8)
    scale = LONG_PX / max(picture.shape)
    return cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)


if __name__ == "__main__":
    if len(sys.argv) > 1:
        main(Path(sys.argv[1]))
    else:
        with tempfile.TemporaryDirectory() as scratch:
            render_card(day_card(1), Path(scratch), usual_jobs())
            main(Path(scratch) / "card")
