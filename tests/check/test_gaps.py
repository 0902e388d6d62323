from __future__ import annotations

import pytest

from grouper.check import find_all, gaps
from grouper.model import Set
from grouper.settings import CheckSettings, Settings
from tests.check.sets import card, sweep


@pytest.fixture
def judged(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Ids of the sets whose neighbours were worked out, each time it was done."""
    done: list[str] = []
    judge = gaps._judge_set

    def count(found: Set, settings: CheckSettings) -> tuple[gaps.Pair, ...]:
        done.append(found.id)
        return judge(found, settings)

    monkeypatch.setattr(gaps, "_judge_set", count)
    return done


def test_neighbours_are_judged_once_a_set_however_many_checks_ask(judged: list[str]) -> None:
    one, other = sweep(focus_m=2.0), sweep(9, first=600)
    find_all(*card(one, other), Settings())
    assert judged == [one.id, other.id]


def test_nothing_is_kept_after_a_set(judged: list[str]) -> None:
    found, settings = sweep(), CheckSettings()
    with gaps.judged_once():
        first = gaps.judge_neighbours(found, settings)
        assert gaps.judge_neighbours(found, settings) is first
    gaps.judge_neighbours(found, settings)
    gaps.judge_neighbours(found, settings)
    assert len(judged) == 3


def test_other_thresholds_are_judged_anew() -> None:
    found = sweep(yaws_deg=[0, 36, 80, 116])
    strict, lax = CheckSettings(), CheckSettings(thin_overlap_share=0.1)
    with gaps.judged_once():
        assert [p.verdict for p in gaps.judge_neighbours(found, strict)] == ["fine", "thin", "fine"]
        assert [p.verdict for p in gaps.judge_neighbours(found, lax)] == ["fine"] * 3


@pytest.mark.parametrize(("mapping", "overlap"), [("rectilinear", 0.393), ("equisolid", 0.254)])
def test_what_two_rows_share_is_told_as_the_lens_draws(mapping: str, overlap: float) -> None:
    # 110 of 147.5 degrees: 1/2 + tan(73.75 - 110) / (2 tan 73.75), and 1 - 110 / 147.5.
    found = sweep(
        1,
        pitches_deg=[-55.0, 55.0],
        fov_deg=(94.3, 147.5),
        pictures=False,
        layout={"direction": "up", "mapping": mapping},
    )
    [pair] = gaps.judge_neighbours(found, CheckSettings())
    assert pair.overlap == pytest.approx(overlap, abs=0.001)
