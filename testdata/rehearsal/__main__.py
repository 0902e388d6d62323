"""The rehearsal's commands: ``python -m testdata.rehearsal --help``."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from datetime import date
from pathlib import Path

import click

from testdata.rehearsal.cards import REPORT_SEEDS, TUNE_SEEDS, day_card, situation_card
from testdata.rehearsal.records import Card
from testdata.rehearsal.render import render_cards, usual_jobs
from testdata.rehearsal.report import (
    REAL,
    ROOT,
    accuracy_table,
    find_cards,
    renew_between_markers,
    score_folders,
    told_lines,
)
from testdata.rehearsal.sample import HOME, make_sample
from testdata.rehearsal.situations import SITUATIONS, situation

NAMES = tuple(part.name for part in SITUATIONS)


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
def main() -> None:
    """Render card dumps with known truth, and score grouper on them."""


@main.command()
@click.option("--seed", "seeds", default=(1,), multiple=True, type=int, help="May be repeated.")
@click.option("--kind", default="day", type=click.Choice(["day", "situation", "situations"]))
@click.option("--situation", "names", multiple=True, type=click.Choice(NAMES), metavar="NAME")
@click.option(
    "--place",
    "places",
    multiple=True,
    type=click.Path(path_type=Path, exists=True, dir_okay=False, resolve_path=True),
    help="An equirectangular picture of all around, say of photographs, to be a place instead of"
    " painted ones. May be repeated.",
)
@click.option("--out", required=True, type=click.Path(path_type=Path, file_okay=False))
@click.option("--jobs", default=usual_jobs(), show_default=True)
def render(
    seeds: Sequence[int],
    kind: str,
    names: Sequence[str],
    places: Sequence[Path],
    out: Path,
    jobs: int,
) -> None:
    """Render cards: a whole day, one situation, or all of them, for each seed.

    A single card goes to OUT itself (OUT/card, OUT/truth.json), several to OUT/NAME-SEED.

    \b
    python -m testdata.rehearsal render --seed 7 --kind day --out /tmp/x
    python -m testdata.rehearsal render --seed 7 --situation handheld --out /tmp/y
    """
    names = names or (NAMES if kind == "situations" else ())
    if kind == "situation" and not names:
        raise click.UsageError(f"say which with --situation; there are: {', '.join(NAMES)}")
    pictures = tuple(map(str, places))
    cards = [situation_card(name, seed, pictures) for seed in seeds for name in names]
    if not names:
        cards = [day_card(seed, pictures) for seed in seeds]
    work = [(card, out if len(cards) == 1 else out / card.name) for card in cards]
    render_cards(work, jobs)
    for card, folder in work:
        click.echo(f"{folder}: {len(card.shots)} frames, {len(card.sets)} sets")


@main.command()
@click.argument("folders", nargs=-1, type=click.Path(path_type=Path, exists=True, file_okay=False))
@click.option("--real", is_flag=True, help="Also (or only) the real cards, where they are present.")
@click.option("--work", default=ROOT / ".rehearsal" / "out", type=click.Path(path_type=Path))
@click.option("--reuse", is_flag=True, help="Score outputs that are there without grouping anew.")
@click.option("--no-sight", is_flag=True, help="Let grouper work by metadata only.")
@click.option("--mistakes", is_flag=True, help="List every set that was not found exactly.")
@click.option("--jobs", default=usual_jobs(), show_default=True)
def score(
    folders: Sequence[Path],
    real: bool,
    work: Path,
    reuse: bool,
    no_sight: bool,
    mistakes: bool,
    jobs: int,
) -> None:
    """Group the cards in FOLDERS and score what came out against their truth."""
    cards = find_cards([*folders, *([REAL] if real and REAL.is_dir() else [])])
    if not cards:
        raise click.UsageError("no folder with card/ and truth.json was found")
    options = ["--no-sight"] if no_sight else []
    total = score_folders(cards, work, jobs=jobs, options=options, reuse=reuse)
    click.echo("\n".join(told_lines(total, mistakes=mistakes)))


@main.command()
@click.option(
    "--days", default=6, type=click.IntRange(1), show_default=True, help="How many whole days."
)
@click.option(
    "--rounds",
    default=2,
    type=click.IntRange(0),
    show_default=True,
    help="How many cards of each situation.",
)
@click.option("--tune", is_flag=True, help="On the seeds for tuning; prints, writes nothing.")
@click.option("--work", default=ROOT / ".rehearsal", type=click.Path(path_type=Path))
@click.option("--readme", default=ROOT / "README.md", type=click.Path(path_type=Path))
@click.option("--jobs", default=usual_jobs(), show_default=True)
def table(days: int, rounds: int, tune: bool, work: Path, readme: Path, jobs: int) -> None:
    """Render, group, score, and renew the accuracy table in the README."""
    if not tune:
        _check_markers(readme)
    seeds = TUNE_SEEDS if tune else REPORT_SEEDS
    home = work / ("tune" if tune else "report")
    situations = [situation_card(part.name, seed) for seed in seeds[:rounds] for part in SITUATIONS]
    whole_days = [day_card(seed) for seed in seeds[:days]]
    parts = []
    for title, cards in (("rendered situations", situations), ("rendered days", whole_days)):
        if not cards:
            continue
        folders = ensure_rendered(cards, home, jobs)
        parts.append((title, score_folders(folders, home / "out", jobs=jobs)))
    real = find_cards([REAL]) if REAL.is_dir() else []
    if real:
        parts.append(("real photographs", score_folders(real, home / "real-out", jobs=jobs)))
    for title, total in parts:
        click.echo("\n".join([f"== {title}", *told_lines(total, mistakes=tune), ""]))
    if tune:
        return
    if any(total.failed for _, total in parts):
        raise click.ClickException("some cards could not be grouped; the table was left alone")
    remark = (
        f"{rounds} cards of each of {len(SITUATIONS)} situations and {days} whole days, rendered "
        f"from seeds {seeds[0]}-{seeds[max(days, rounds) - 1]}, which were not looked at while "
        "thresholds were chosen."
    )
    text = accuracy_table(parts, date.today().isoformat(), remark)
    old = readme.read_text(encoding="utf-8")
    readme.write_text(renew_between_markers(old, text), encoding="utf-8")
    click.echo(f"renewed the table in {readme}")


def _check_markers(readme: Path) -> None:
    """Find out before the long work, not after it, that the table has no place to go."""
    try:
        renew_between_markers(readme.read_text(encoding="utf-8"), "")
    except (OSError, ValueError) as error:
        raise click.ClickException(f"{readme}: {error}") from error


@main.command()
def sample() -> None:
    """Make the bundled sample card and its truth again."""
    make_sample()
    click.echo(f"made {HOME / 'card'} and {HOME / 'card-truth.json'}")


@main.command()
def situations() -> None:
    """List the situations."""
    for name in NAMES:
        click.echo(f"{name:24}{situation(name).summary}")


def ensure_rendered(cards: Iterable[Card], home: Path, jobs: int) -> list[Path]:
    """Folders of the rendered cards; those the present code has rendered are kept."""
    mark = source_mark()
    work = [(card, home / "cards" / card.name) for card in cards]
    stale = [(card, folder) for card, folder in work if _stamp(folder) != mark]
    render_cards(stale, jobs)
    for _, folder in stale:
        (folder / STAMP).write_text(mark)
    return [folder for _, folder in work]


STAMP = "rendered-by"


def _stamp(folder: Path) -> str:
    path = folder / STAMP
    return path.read_text() if path.is_file() else ""


def source_mark() -> str:
    """A digest of the code that decides what a rendered card looks like."""
    unconcerned = {"__main__.py", "score.py", "report.py", "baselines.py"}
    digest = hashlib.sha256()
    for path in sorted(Path(__file__).parent.glob("*.py")):
        if path.name not in unconcerned:
            digest.update(path.read_bytes())
    return digest.hexdigest()


if __name__ == "__main__":
    main()
