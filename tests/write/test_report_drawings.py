from __future__ import annotations

import math
import re
from dataclasses import replace
from datetime import timedelta
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings, strategies

from grouper.model import Body, Link, Member, Pointing, Set, Sighting
from grouper.write.facts import settings_of
from grouper.write.shots import album, duration, exposure, file_address, signed
from grouper.write.strip import FIRST, draw_strip, shots_of
from grouper.write.sweep import WIDTH, Sweep, draw_sweep
from grouper.write.timeline import draw_timeline
from grouper.write.verdict import LOOK, RESHOOT, WHOLE, verdict_of
from tests.support import START, frame
from tests.write.results import bracket, finding, layout, panorama, result


def sweep(*yaws: float, pitch: float = 0.0, fov: tuple[float, float] = (50.0, 70.0)) -> Set:
    members = tuple(
        Member(frame=frame(n), view=n, pointing=Pointing(yaw_deg=yaw, pitch_deg=pitch))
        for n, yaw in enumerate(yaws)
    )
    return panorama(members=members, layout=layout(fov_deg=fov), findings=())


def rows(*pitches: float, views: int = 3) -> Set:
    members = tuple(
        Member(
            frame=frame(10 * row + n),
            row=row,
            view=row * views + n,
            pointing=Pointing(yaw_deg=40.0 * n, pitch_deg=pitch),
        )
        for row, pitch in enumerate(pitches)
        for n in range(views)
    )
    shape = layout(rows=len(pitches), views=len(members), fov_deg=(50.0, 40.0))
    return panorama(members=members, layout=shape, findings=())


def drawn(one: Set) -> Sweep:
    drawing = draw_sweep(one, album(result(one)))
    assert drawing is not None
    return drawing


def test_frames_stand_at_their_angles() -> None:
    (band,) = drawn(sweep(-40.0, 0.0, 40.0)).bands
    per_degree = band.placed[0].width / 50
    assert band.placed[1].x - band.placed[0].x == pytest.approx(40 * per_degree, abs=0.2)
    assert band.placed[0].height == pytest.approx(70 * per_degree, abs=0.2)
    assert [item.label for item in band.between] == ["20 %", "20 %"]  # 1 - 40/50
    assert [item.step_label for item in band.between] == ["40°", "40°"]
    assert band.level_y is not None


@pytest.mark.parametrize(
    ("yaws", "gaps"), [((-40, 0, 40), []), ((-40, 0, 80), ["gap 30°"]), ((0,), [])]
)
def test_gaps(yaws: tuple[float, ...], gaps: list[str]) -> None:
    drawing = drawn(sweep(*yaws))
    assert [b.label for band in drawing.bands for b in band.between if b.is_gap] == gaps
    assert ("1 gap" if gaps else "no gaps") in drawing.words


def test_the_span_in_words_is_the_one_that_findings_tell() -> None:
    one = sweep(0, 30, 60)
    assert one.layout is not None
    for span, told in (((111.4, 70.6), "111° by 71°"), (None, "110° by 70°")):
        drawing = drawn(replace(one, layout=replace(one.layout, span_deg=span)))
        assert told in drawing.words


def test_pictures_say_more_of_an_overlap_than_angles() -> None:
    one = sweep(0.0, 40.0)
    files = [member.frame.file for member in one.members]
    link = Link(a=files[0], b=files[1], sighting=Sighting(overlap=0.27, certainty=0.9))
    (item,) = drawn(replace(one, links=(link,))).bands[0].between
    assert item.label == "27 %"


def test_a_thin_overlap_is_marked() -> None:
    one = sweep(0.0, 40.0)
    files = tuple(member.frame.file for member in one.members)
    one = replace(one, findings=(finding("thin-overlap", "warning", *files),))
    (item,) = drawn(one).bands[0].between
    assert item.severity == "warning"
    assert all(not placed.shot.marks for placed in drawn(one).bands[0].placed)


def test_a_frame_near_the_pole_covers_more_yaw() -> None:
    """The side edge stands at atan(tan(a/2) / cos p) from the middle (spherical geometry)."""
    (band,) = drawn(sweep(0.0, 40.0, pitch=60.0, fov=(50.0, 20.0))).bands
    step = band.placed[1].x - band.placed[0].x
    assert band.placed[0].width / step * 40 == pytest.approx(86.0, abs=0.3)


def test_a_full_circle_says_how_it_closes() -> None:
    one = sweep(*range(-180, 180, 40))
    last = drawn(one).bands[0].between[-1]
    assert last.label == "closes 20 %"
    open_ = drawn(sweep(*range(-180, 120, 40))).bands[0].between[-1]
    assert open_.is_gap
    assert open_.label == "gap 30° to first"  # 360 - 7 * 40 - 50


def test_rows_are_stacked_from_the_top() -> None:
    drawing = drawn(rows(-15.0, 20.0))
    assert [len(band.placed) for band in drawing.bands] == [3, 3]
    titles = [band.title.text for band in drawing.bands if band.title is not None]
    assert titles == [
        "Row 2 of 2, pitch +20.0°; overlaps the row below by 12 %",  # (40 - 35) / 40
        "Row 1 of 2, pitch −15.0°",
    ]
    assert drawing.bands[0].placed[0].y < drawing.bands[1].placed[0].y


def test_rows_that_do_not_meet() -> None:
    title = drawn(rows(-30.0, 30.0)).bands[0].title
    assert title is not None
    assert "GAP of 20° to the row below" in title.text


def test_words_of_a_crowded_sweep_do_not_lie_over_each_other() -> None:
    one = sweep(*range(-180, 180, 6))
    odd = [member.frame.file for member in one.members[10:30]]
    (band,) = drawn(replace(one, findings=(finding("mixed-shutter", "warning", *odd),))).bands
    for words in (
        [(p.tag_y, p.middle, p.shot.label) for p in band.placed if p.tag_y is not None],
        [(p.mark_y, p.middle, p.mark) for p in band.placed if p.mark],
    ):
        assert words
        for y in {word[0] for word in words}:
            line = sorted((x, text) for at, x, text in words if at == y)
            for (a, text), (b, _) in pairwise(line):
                assert b - a >= 6 * len(text)
    assert len([p for p in band.placed if p.shot.marks]) == 20


def test_up_and_down_is_drawn_in_one_piece() -> None:
    drawing = drawn(rows(-30.0, 0.0, 45.0, views=1))
    (band,) = drawing.bands
    assert [item.label for item in band.between] == ["gap 5°, step 45°", "25 %, step 30°"]


def test_steep_frames_stand_beside_the_ruler() -> None:
    one = sweep(0.0, 40.0)
    up = Member(frame=frame(9), view=2, pointing=Pointing(yaw_deg=0.0, pitch_deg=90.0))
    drawing = drawn(replace(one, members=(*one.members, up)))
    assert [shot.captions for shot in drawing.beside] == [("looks up 90°",)]


def test_small_ticks_stand_evenly_on_the_ruler() -> None:
    drawing = drawn(sweep(0.0, 30.0, 60.0))
    strokes = re.findall(r"M(\S+) (\S+)v(\d+)", drawing.small_ticks)
    assert "".join(f"M{x} {y}v{down}" for x, y, down in strokes) == drawing.small_ticks
    assert {(float(y), down) for _, y, down in strokes} == {(drawing.ruler_y, "4")}
    places = [float(x) for x, _, _ in strokes]
    assert 0 <= places[0] < places[-1] <= WIDTH
    steps = [after - before for before, after in pairwise(places)]
    assert steps == pytest.approx([steps[0]] * len(steps), abs=0.2)


def test_beyond_a_gap_of_unknown_width() -> None:
    """Four views, the last two tied to each other but not to the first two."""
    one = sweep(0.0, 30.0, 0.0, 0.0)
    members = tuple(
        replace(member, pointing=Pointing()) if at > 1 else member
        for at, member in enumerate(one.members)
    )
    files = [member.frame.file for member in members]
    link = Link(
        a=files[2],
        b=files[3],
        sighting=Sighting(overlap=0.5, certainty=0.9, turn_deg=(0.0, 28.0, 0.0)),
    )
    missing = finding("missing-frame", "problem", files[1], files[2], measured={})
    one = replace(one, members=members, links=(link,), findings=(missing,))
    drawing = drawn(one)
    (band,) = drawing.bands
    per_degree = band.placed[0].width / 50
    places = [(placed.x - band.placed[0].x) / per_degree for placed in band.placed]
    assert places == pytest.approx([0, 30, 90, 118], abs=0.5)
    assert [placed.is_guess for placed in band.placed] == [False, False, True, True]
    assert [item.label for item in band.between if item.is_gap] == ["gap, width not known"]
    assert len(band.ghosts) == 1
    assert "do not say how wide the gap is" in drawing.words
    # Without the finding there is nothing to place them by.
    assert len(drawn(replace(one, findings=())).beside) == 2


@pytest.mark.parametrize(
    "one",
    [
        sweep(0.0),
        sweep(*range(-180, 180, 30)),
        sweep(*range(-180, 180, 6)),
        sweep(0.0, 1.0, fov=(1.2, 0.8)),
        sweep(0.0, 40.0, pitch=66.0),
        sweep(-40.0, 0.0, 200.0),
        rows(-40.0, 0.0, 40.0),
        rows(-40.0, 0.0, 40.0, views=1),
        panorama(),
    ],
    ids=["one", "round", "sixty", "long", "steep", "gap", "rows", "column", "spare"],
)
def test_everything_lies_within_the_drawing(one: Set) -> None:
    drawing = drawn(one)
    for band in drawing.bands:
        assert band.placed
        for box in (*band.placed, *band.between, *band.ghosts):
            assert 0 <= box.x <= box.x + box.width <= WIDTH + 0.1
            assert 0 <= box.y <= box.y + box.height <= drawing.height
    for cell in drawing.cells:
        assert 0 <= cell.x <= cell.x + cell.width <= WIDTH
        assert cell.y + cell.height <= drawing.ruler_y
    assert all(-0.1 <= tick.x <= WIDTH + 0.1 for tick in drawing.ticks)
    assert 1 <= len(drawing.ticks) <= 20


def shown_files(drawing: Sweep) -> list[str]:
    shots = [placed.shot for band in drawing.bands for placed in band.placed]
    shots += [cell.shot for cell in drawing.cells if cell.shot is not None]
    return sorted(shot.frame.file for shot in (*shots, *drawing.beside))


def bracketed() -> Set:
    one = sweep(0.0, 40.0)
    members = [
        replace(m, frame=frame(3 * m.view + leg), leg=leg, ev_offset=2.0 * (leg - 1))
        for m in one.members
        for leg in range(3)
    ]
    return replace(one, members=tuple(members), layout=layout(views=2, legs=3))


@pytest.mark.parametrize(
    "one",
    [panorama(), bracketed(), rows(-20.0, 20.0), sweep(0.0, 30.0, pitch=80.0)],
    ids=["spare", "legs", "rows", "steep"],
)
def test_every_frame_is_drawn_once(one: Set) -> None:
    drawing = draw_sweep(one, album(result(one)))
    if drawing is None:  # nothing but steep frames: no ruler to stand on
        shown = sorted(s.frame.file for s in shots_of(draw_strip(one, album(result(one))).items))
    else:
        shown = shown_files(drawing)
    assert shown == sorted(member.frame.file for member in one.members)


def test_legs_are_unfolded_below_their_views_and_missing_ones_hatched() -> None:
    one = bracketed()
    whole = drawn(one)
    assert [line.text for line in whole.lines] == ["−2.0 EV", "0 EV", "+2.0 EV"]
    assert not [cell for cell in whole.cells if cell.is_missing]
    lacking = drawn(replace(one, members=one.members[:-1]))
    (missing,) = [cell for cell in lacking.cells if cell.is_missing]
    right = lacking.bands[0].placed[1]
    assert missing.x + missing.width / 2 == pytest.approx(right.middle, abs=0.2)


def test_unmeasured_sets_are_strips_in_shooting_order() -> None:
    one = panorama(layout=layout(pointing_from="assumed"))
    assert draw_sweep(one, album(result(one))) is None
    strip = draw_strip(one, album(result(one)))
    assert strip.items[0].shot is not None
    assert strip.items[0].shot.frame is one.members[0].frame
    assert len(shots_of(strip.items)) == len(one.members)
    assert "not measured" in strip.words


def test_strips_say_what_changes_and_where_something_is_missing() -> None:
    items = draw_strip(bracket(), album(result(bracket()))).items
    assert [item.shot.captions for item in items if item.shot] == [
        ("−1.0 EV", "1/60 s"),
        ("0 EV", "1/30 s"),
        ("+1.0 EV", "1/15 s"),
    ]
    members = tuple(Member(frame=frame(n, at_s=10.0 * n)) for n in range(FIRST + 2))
    files = [member.frame.file for member in members]
    gap = finding("missing-frame", "problem", files[4], files[5], measured={"frames_missing": 2})
    one = bracket(kind="interval", members=members, findings=(gap,))
    strip = draw_strip(one, album(result(one)))
    assert [item.note for item in strip.items if item.shot is None] == ["2 missing"]
    assert len(strip.first) == FIRST
    assert len(strip.rest) == 3
    assert "one every 10 s" in strip.words


def test_settings_that_differ_have_columns_and_odd_ones_a_mark() -> None:
    one = panorama()
    odd = replace(one.members[0], frame=replace(one.members[0].frame, iso=400.0))
    facts = settings_of(replace(one, members=(odd, *one.members[1:])), album(result(one)))
    assert ("aperture", "f/11") in facts.same
    assert "ISO" in facts.heads
    at = facts.heads.index("ISO")
    assert [(line.values[at].text, line.values[at].code) for line in facts.lines] == [
        ("400", "mixed-iso"),
        ("100", ""),
        ("100", ""),
        ("100", ""),
    ]
    assert facts.lines[3].companions == ("100QMARK/QMK_0004.NEF",)


ANGLES = strategies.none() | strategies.floats(-400, 400) | strategies.just(math.nan)


@settings(max_examples=60, deadline=None)
@given(
    strategies.lists(
        strategies.tuples(
            ANGLES,
            ANGLES,
            ANGLES,
            strategies.integers(0, 3),
            strategies.integers(0, 4),
            strategies.integers(0, 2),
            strategies.integers(0, 2),
            strategies.booleans(),
        ),
        min_size=1,
        max_size=12,
    ),
    strategies.floats(0, 179),
    strategies.floats(0, 179),
    strategies.sampled_from(["pictures", "metadata", "assumed"]),
    strategies.integers(0, 11),
)
def test_whatever_grouping_says_every_frame_is_on_the_page(
    places: list[tuple[Any, ...]], across: float, up: float, source: Any, odd: int
) -> None:
    members = tuple(
        Member(
            frame=frame(n),
            row=row,
            view=view,
            leg=leg,
            step=step,
            spare=spare,
            pointing=Pointing(yaw_deg=yaw, pitch_deg=pitch, roll_deg=roll),
        )
        for n, (yaw, pitch, roll, row, view, leg, step, spare) in enumerate(places)
    )
    files = [member.frame.file for member in members]
    gap = finding("missing-frame", "problem", *files[odd : odd + 2])
    one = panorama(
        members=members,
        layout=layout(fov_deg=(across, up), pointing_from=source),
        findings=(gap,),
    )
    of = result(one)
    drawing = draw_sweep(one, album(of))
    if drawing is None:
        shown = sorted(shot.frame.file for shot in shots_of(draw_strip(one, album(of)).items))
    else:
        shown = shown_files(drawing)
        assert "nan" not in repr(drawing.bands)
    assert shown == sorted(files)
    settings_of(one, album(of))


# --- The time line ------------------------------------------------------------------------------


def test_sets_and_singles_stand_on_the_line() -> None:
    drawing = draw_timeline(result())
    assert drawing is not None
    assert [block.number for block in drawing.blocks] == [1, 2]
    assert [block.verdict for block in drawing.blocks] == [LOOK, WHOLE]
    assert [stroke.what for stroke in drawing.strokes] == ["single", "divider", "preview"]
    for block in drawing.blocks:
        assert 0 <= block.x < block.x + block.width <= 100
    assert drawing.blocks[0].x < drawing.blocks[1].x < drawing.strokes[0].x


def test_long_pauses_are_cut_short_and_said() -> None:
    later = tuple(
        replace(m, frame=replace(m.frame, taken=START + timedelta(days=2, seconds=n)))
        for n, m in enumerate(bracket().members)
    )
    drawing = draw_timeline(result(bracket(), bracket(id="later", members=later)))
    assert drawing is not None
    assert [pause.label for pause in drawing.pauses] == ["5 min", "2 days"]
    assert [moment.label for moment in drawing.moments][:3] == [
        "14 Mar 09:24",
        "09:29",
        "16 Mar 09:14",
    ]


def test_a_line_over_years_names_them() -> None:
    later = tuple(
        replace(m, frame=replace(m.frame, taken=START.replace(year=START.year + 2, day=20 + n)))
        for n, m in enumerate(bracket().members)
    )
    drawing = draw_timeline(result(bracket(), bracket(id="later", members=later)))
    assert drawing is not None
    year = START.year
    assert [moment.label for moment in drawing.moments] == [
        f"14 Mar {year} 09:24",
        "09:29",
        f"20 Mar {year + 2} 09:14",
        "21 Mar 09:14",
        "22 Mar 09:14",
    ]


def test_bodies_have_lanes_and_one_axis() -> None:
    """The second body's clock is an hour slow; its frames belong beside the first's."""
    of = result()
    other = bracket(
        id="other",
        body="second",
        members=tuple(
            replace(
                m, frame=replace(m.frame, file=f"B/{n}.JPG", taken=START - timedelta(seconds=3600))
            )
            for n, m in enumerate(bracket().members)
        ),
    )
    of = result(panorama(), other)
    second = Body(id="second", make=None, model=None, serial=None, frames=3, clock_offset_s=3600.0)
    order = (of.grouping.order[0], tuple(m.frame.file for m in other.members))
    first = tuple(f for f in of.grouping.order[0] if f not in order[1])
    of = replace(
        of,
        grouping=replace(
            of.grouping, bodies=(*of.grouping.bodies, second), order=(first, order[1])
        ),
    )
    drawing = draw_timeline(of)
    assert drawing is not None
    assert [name for name, _ in drawing.lanes] == ["Quillmark Q5 5005001", "second"]
    blocks = {block.id: block for block in drawing.blocks}
    assert blocks["other"].body == 1
    assert blocks["other"].y > blocks[panorama().id].y
    assert abs(blocks["other"].x - blocks[panorama().id].x) < 5


def test_words_of_a_crowded_line_wait_for_the_zoom() -> None:
    many = tuple(
        bracket(
            id=f"b{n}",
            members=tuple(
                replace(m, frame=frame(100 + 3 * n + at, at_s=20.0 * n + at))
                for at, m in enumerate(bracket().members)
            ),
        )
        for n in range(200)
    )
    drawing = draw_timeline(result(*many))
    assert drawing is not None
    zooms = [block.zoom for block in drawing.blocks]
    assert zooms[0] == 1
    assert 5 <= sum(zoom == 1 for zoom in zooms) <= 80
    assert all(zoom <= 16 for zoom in zooms)


def test_no_times_no_line() -> None:
    of = result()
    frames = tuple(replace(f, taken=None) for f in of.scan.frames)
    assert draw_timeline(replace(of, scan=replace(of.scan, frames=frames))) is None


# --- Words --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("findings", "verdict"),
    [
        ((), WHOLE),
        ((finding("a", "note"),), WHOLE),
        ((finding("a", "note"), finding("b", "warning")), LOOK),
        ((finding("b", "warning"), finding("c", "problem")), RESHOOT),
    ],
)
def test_verdicts(findings: tuple[object, ...], verdict: object) -> None:
    assert verdict_of(findings) is verdict  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("seconds", "text"), [(1 / 60, "1/60 s"), (0.25, "1/4 s"), (0.5, "0.5 s"), (30.0, "30 s")]
)
def test_exposure(seconds: float, text: str) -> None:
    assert exposure(seconds) == text


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0.4, "0.4 s"),
        (75, "75 s"),
        (180, "3 min"),
        (7800, "2 h 10 min"),
        (7200, "2 h"),
        (200000, "2 days"),
    ],
)
def test_duration(seconds: float, text: str) -> None:
    assert duration(seconds) == text


def test_signed() -> None:
    assert [signed(value) for value in (2.04, -1.5, -0.04)] == ["+2.0", "−1.5", "0"]


@pytest.mark.parametrize(
    ("root", "file", "address"),
    [
        ("/media/ilse", "A/B 1.JPG", "file:///media/ilse/A/B%201.JPG"),
        ("/m/", "\udcff\"'<#?.JPG", "file:///m/%FF%22%27%3C%23%3F.JPG"),
        ("/m", "北.JPG", "file:///m/%E5%8C%97.JPG"),
    ],
)
def test_file_addresses_hold_the_bytes_of_the_name(root: str, file: str, address: str) -> None:
    """RFC 8089 (the file scheme) and RFC 3986, 2.1 (percent-encoding)."""
    assert file_address(root, file) == address
