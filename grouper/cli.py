"""The command line: parse, call, print, exit status. Heavy parts are imported when needed.

Results go to standard output, progress and complaints to standard error. Exit status: 0
done, 1 findings at or above ``--fail-on``, 2 could not run, 130 Ctrl-C.
"""

from __future__ import annotations

import contextlib
import difflib
import logging
import os
import shutil
import sys
import time
import traceback
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn, TextIO, TypeVar

import click

from grouper.errors import GrouperError

if TYPE_CHECKING:
    from grouper.model import Result
    from grouper.settings import Settings
    from grouper.write.replace import Written
    from grouper.write.text import Style

COULD_NOT_RUN = 2
INTERRUPTED = 130
"""128 + SIGINT, as shells report it."""
BROKEN_PIPE = 141
"""128 + SIGPIPE, as a program reports that was killed by it."""

MOST_NOTES = 12
"""Remarks shown about the writing; a card pulled half-way would yield one per photograph."""

F = TypeVar("F", bound=Callable[..., Any])


class Commands(click.Group):
    """Maps what goes wrong in a command to the exit status that is promised."""

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command; see the module's docstring for the exit status."""
        try:
            return self._invoke_and_flush(ctx)
        except GrouperError as error:
            complain(str(error))
            ctx.exit(COULD_NOT_RUN)
        except (KeyboardInterrupt, click.Abort):
            complain("interrupted; nothing is half-written")
            ctx.exit(INTERRUPTED)
        except BrokenPipeError:  # the reader of our output went away, as ``head`` does
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            ctx.exit(BROKEN_PIPE)
        except (click.ClickException, click.exceptions.Exit):
            raise
        except Exception:
            traceback.print_exc()
            complain("this is a bug in grouper; the lines above say where")
            ctx.exit(COULD_NOT_RUN)

    def _invoke_and_flush(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        finally:
            sys.stdout.flush()  # here, where a broken pipe can still be answered


class TerminalProgress:
    """A line on a terminal: how far a step is, how fast, and how long it will take.

    ``now`` is a clock in seconds. The line is drawn at most ten times a second, which the
    eye cannot tell from more, and removed at the end.
    """

    def __init__(self, stream: TextIO, now: Callable[[], float] = time.monotonic) -> None:
        self._stream = stream
        self._now = now
        self._what: tuple[str, int] | None = None
        self._began = 0.0
        self._drawn = 0.0

    def __call__(self, what: str, done: int, total: int) -> None:
        """Report that ``done`` of ``total`` are done in the step called ``what``."""
        now = self._now()
        if (what, total) != self._what:  # a step may come in several goes, each with its pace
            self._what, self._began, self._drawn = (what, total), now, float("-inf")
        if now - self._drawn < 0.1 and done < total:
            return
        self._drawn = now
        line = progress_line(what, done, total, now - self._began)
        width = shutil.get_terminal_size().columns
        self._stream.write(f"\r{line[: width - 1]}\x1b[K")
        self._stream.flush()

    def close(self) -> None:
        """Take the line away."""
        if self._what is not None:
            self._stream.write("\r\x1b[K")
            self._stream.flush()


def progress_line(what: str, done: int, total: int, seconds: float) -> str:
    """Such as ``reading 120/498 (41/s, 9 s left)``; no guess before there is a rate."""
    line = f"{what} {done}/{total}"
    if done == 0 or seconds < 0.5:
        return line
    rate = done / seconds
    left = round((total - done) / rate)
    pace = f"{rate:.0f}/s" if rate >= 10 else f"{rate:.1f}/s"
    minutes, rest = divmod(left, 60)
    return f"{line} ({pace}, {f'{minutes} min ' if minutes else ''}{rest} s left)"


def complain(message: str) -> None:
    """Say something on standard error, foreign text made harmless."""
    from grouper.write.clean import shown

    lines = (shown(line) for line in message.splitlines())
    click.echo("grouper: " + "\n".join(lines), err=True)


def _processors() -> int:
    try:
        return len(os.sched_getaffinity(0))  # what we may use, not what there is
    except AttributeError:  # not on every system
        return os.cpu_count() or 1


def reading_options(command: F) -> F:
    """The options that every reading command shares."""
    options = (
        click.option(
            "--settings",
            "settings_file",
            type=click.Path(path_type=Path, readable=False),
            metavar="FILE.toml",
            help="Thresholds and severities that differ from the defaults.",
        ),
        click.option("--no-sight", is_flag=True, help="Metadata only; pictures are not looked at."),
        click.option(
            "--jobs",
            type=click.IntRange(min=1),
            default=_processors,
            show_default="one per processor",
            metavar="N",
            help="How many files to work on at once.",
        ),
        click.option(
            "--no-cache",
            is_flag=True,
            help="Read every file again, also those that did not change since the last time.",
        ),
        click.option("--quiet", "-q", is_flag=True, help="No progress, no warnings about the run."),
        click.option("--verbose", "-v", is_flag=True, help="Say more about what is done."),
    )
    for option in reversed(options):
        command = option(command)
    return command


CARDS = click.argument(
    "cards",
    metavar="CARD...",
    nargs=-1,
    required=True,
    type=click.Path(path_type=Path, readable=False),  # discover says it better
)


@click.group(
    cls=Commands,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    invoke_without_command=True,
)
@click.version_option(package_name="grouper", message="grouper %(version)s")
@click.pass_context
def cli(ctx: click.Context) -> None:
    """Group the frames on a camera card into panorama sets, brackets, focus stacks, bursts
    and interval series, and check every set before the card is formatted.

    Photographs are only read, never changed.

    \b
    Example:
      grouper group /media/ilse/QMARK --out tavrin-friday
      grouper check /media/ilse/QMARK && echo "nothing missing"
      grouper explain missing-frame
    """  # noqa: D205, D301
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())


class WithLinks(click.Command):
    """Takes ``--links`` alone as ``--links=symlink``, whatever stands behind it."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Complete a bare ``--links`` before click takes the next word for its value."""
        end = args.index("--") if "--" in args else len(args)
        head = ["--links=symlink" if word == "--links" else word for word in args[:end]]
        return super().parse_args(ctx, head + args[end:])


@cli.command(cls=WithLinks, short_help="Group the frames on cards and write manifests.")
@CARDS
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Where to write; default ./<card name>-sets.",
)
@click.option(
    "--links",
    type=click.Choice(["symlink", "hard", "copy"]),
    metavar="[=HOW]",
    help="Gather the photographs of each set in sets/<id>/frames/: as relative symbolic links "
    "(the default), hard links (=hard) or copies (=copy). Copies are made where links cannot be.",
)
@click.option(
    "--xmp", is_flag=True, help="New XMP sidecars with set membership, in sets/<id>/xmp/."
)
@click.option(
    "--write",
    "writers",
    multiple=True,
    metavar="NAME",
    help="Also run this writer; installed packages can offer some.",
)
@click.option("--onto-card", is_flag=True, help="Allow an output folder that lies on a card.")
@reading_options
def group(
    cards: tuple[Path, ...],
    out: Path | None,
    links: Any,
    xmp: bool,
    writers: tuple[str, ...],
    onto_card: bool,
    **how: Any,
) -> None:
    """Read cards, group their frames, check every set and write manifests.

    Several CARDs are read as one: the cards of two bodies, say, from the same day.

    \b
    Example:
      grouper group /media/ilse/QMARK
      grouper group QMARK OSTREL --out tavrin-friday --links
    """  # noqa: D301
    from grouper.write import check_place, write_result, writers_for

    out = out or default_out(cards)
    check_place(out, cards, onto_card=onto_card)
    chosen = writers_for((*writers, *(("xmp",) if xmp else ())))
    with progress_shown(quiet=how["quiet"]) as progress:
        result = read_cards(cards, progress, for_report=True, **how)
        written = write_result(
            result,
            out,
            made=now_iso(),
            links=links,
            writers=chosen,
            onto_card=onto_card,
            progress=progress,
        )
    report_group(result, written, out)


@cli.command(short_help="Print what is wrong with cards; write nothing.")
@CARDS
@click.option(
    "--fail-on",
    type=click.Choice(["problem", "warning", "note", "never"]),
    default="problem",
    show_default=True,
    help="Exit with 1 if there is a finding this bad or worse.",
)
@click.option("--json", "as_json", is_flag=True, help="Print what card.json would hold.")
@reading_options
def check(cards: tuple[Path, ...], fail_on: str, as_json: bool, **how: Any) -> None:
    """Read cards and print what is wrong with them; write nothing.

    Exit status: 0 nothing at or above --fail-on, 1 something is, 2 could not run.

    \b
    Example:
      grouper check /media/ilse/QMARK
      grouper check QMARK --fail-on warning --json > card.json
    """  # noqa: D301
    from grouper.write.text import all_findings, worst

    with progress_shown(quiet=how["quiet"]) as progress:
        result = read_cards(cards, progress, **how)
    print_check(result, as_json=as_json)
    if is_bad(worst(all_findings(result)), fail_on):
        click.get_current_context().exit(1)


@cli.command(short_help="Explain a finding code, or the place of a frame.")
@click.argument("what", metavar="[CODE|FRAME]", required=False)
@click.option(
    "--in",
    "where",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Output folder (or card.json) to look the frame up in; default ./*-sets.",
)
def explain(what: str | None, where: Path | None) -> None:
    """Say what a finding code means, or why a frame stands where it stands.

    Without a word it lists the codes.

    \b
    Example:
      grouper explain thin-overlap
      grouper explain QMK_0417.JPG --in tavrin-friday
      grouper explain
    """  # noqa: D301
    from grouper.check import CODES, headings, page

    if what is None:
        click.echo(list_of_codes(headings()))
    elif what in CODES:  # a code is a code, whichever card is named beside it
        click.echo(page(what).strip())
    else:
        explain_frame(what, where, CODES)


def _print_unit(ctx: click.Context, _: click.Parameter, wanted: bool) -> None:
    if wanted:
        from grouper.watch.unit import unit_text

        click.echo(unit_text(), nl=False)
        ctx.exit(0)


@cli.command(short_help="A service: group each card that comes to a folder.")
@click.argument("inbox", metavar="INBOX", type=click.Path(path_type=Path))
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="DIR",
    required=True,
    help="Where to write: index.html, and a folder for each card.",
)
@click.option("--once", is_flag=True, help="Group what is still and leave; for cron.")
@click.option(
    "--poll",
    is_flag=True,
    help="Look every few seconds instead of waiting for events; network shares known as such "
    "are polled anyway.",
)
@click.option(
    "--on-set",
    metavar="COMMAND",
    help="Run this for each new or changed set, such as 'mycommand {manifest}'.",
)
@click.option("--on-card", metavar="COMMAND", help="Run this for each card that was grouped.")
@click.option("--log-json", is_flag=True, help="Log lines as JSON.")
@click.option(
    "--print-unit",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_print_unit,
    help="Print a systemd unit for this service and leave.",
)
@reading_options
def watch(
    inbox: Path,
    out: Path,
    once: bool,
    poll: bool,
    on_set: str | None,
    on_card: str | None,
    log_json: bool,
    **how: Any,
) -> None:
    """Watch INBOX: each folder directly in it is a card, grouped once its files were still for a
    while, and again when it changes. DIR/index.html shows all cards.

    Folders with hidden names are left alone, and no link is followed.

    Runs until SIGTERM or Ctrl-C; SIGHUP reads the settings again. With --once, cards that are
    still are grouped and the command leaves with 0; with 1 when a card failed or was left
    because its files still changed. Photographs are only read, and nothing is written to INBOX.

    \b
    COMMANDs are run without a shell. In braces, for --on-set:
      {manifest} {frames} {set} {kind} {verdict} {report} {out} {card}
    and for --on-card:
      {manifest} {report} {verdict} {sets} {problems} {out} {card}

    A settled card is not a backup: never format it before a second, verified copy exists.

    \b
    Example:
      grouper watch /srv/photos/inbox --out /srv/photos/sets
      grouper watch inbox --out sets --once --quiet
      grouper watch inbox --out sets --on-card 'notify-send "Card grouped" {report}'
      grouper watch --print-unit > grouper-watch.service
    """  # noqa: D205, D301
    from grouper.watch.start import serve

    status = serve(
        inbox,
        out,
        once=once,
        poll=poll,
        on_set=on_set,
        on_card=on_card,
        log_json=log_json,
        load=lambda: settings_for(how["settings_file"], no_sight=how["no_sight"]),
        jobs=how["jobs"],
        use_cache=not how["no_cache"],
        level="debug" if how["verbose"] else "warning" if how["quiet"] else "info",
    )
    click.get_current_context().exit(status)


@cli.command(short_help="How the service fares: queue, last card, errors.")
@click.argument("out", metavar="DIR", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print everything as JSON.")
def status(out: Path, as_json: bool) -> None:
    """Say how the service that writes into DIR fares.

    Exit status: 0 all is well; 1 something is wrong: a card in the inbox or the last command
    failed, the service is not running (unless the last run was one with --once), hangs, or waits
    for space or a share; 2 no service ever wrote there.

    \b
    Example:
      grouper status /srv/photos/sets
      grouper status /srv/photos/sets --json | jq .troubles
    """  # noqa: D301
    from grouper.watch import status as told

    found = told.read_status(out)
    click.echo(told.as_json(found) if as_json else told.as_text(found, style_for(sys.stdout)))
    click.get_current_context().exit(told.exit_status(found))


def explain_frame(what: str, where: Path | None, codes: Sequence[str]) -> None:
    """Print the place of a frame in the one grouped card that knows it.

    Raises:
        GrouperError: no code and no frame is called so, or several frames are.
    """
    from grouper.write.lookup import find_frames, load_cards
    from grouper.write.text import frame_place

    cards = load_cards(where, Path.cwd())
    found = [(card, file) for card in cards for file in find_frames(card, what, Path.cwd())]
    if not found:
        raise GrouperError(unknown_word(what, codes, len(cards)))
    if len({file for _, file in found}) > 1:
        names = ", ".join(sorted({file for _, file in found})[:6])
        raise GrouperError(f"{what} may be any of {names}; name it with its folder")
    try:
        places = [frame_place(card, file, style_for(sys.stdout)) for card, file in found]
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise GrouperError("the manifest is damaged; run grouper group again") from error
    click.echo("\n\n".join(places))


def list_of_codes(headings: Mapping[str, str]) -> str:
    """Every code and what it says, a line each."""
    width = max(map(len, headings))
    return "\n".join(f"{code:{width}}  {heading}" for code, heading in headings.items())


def unknown_word(what: str, codes: Sequence[str], cards: int) -> str:
    """What to say of a word that is neither a code nor a frame."""
    close = difflib.get_close_matches(what, codes, n=3)
    hint = f"did you mean {', '.join(close)}?" if close else "grouper explain lists them all"
    if cards == 0:
        return (
            f"{what} is no finding code ({hint}), and no grouped card was found here to look for "
            f"such a frame on; name one with --in DIR"
        )
    looked = "the grouped card looked at" if cards == 1 else f"any of {cards} grouped cards"
    return f"{what} is no finding code ({hint}), and no such frame is on {looked}"


def read_cards(
    cards: Sequence[Path],
    progress: TerminalProgress | None = None,
    *,
    for_report: bool = False,
    settings_file: Path | None,
    no_sight: bool,
    jobs: int,
    no_cache: bool,
    quiet: bool,
    verbose: bool,
) -> Result:
    """Run the pipeline as the shared options say."""
    level = logging.INFO if verbose else logging.ERROR if quiet else logging.WARNING
    _show_log(level)
    settings = settings_for(settings_file, no_sight=no_sight)
    from grouper.discover import refuse_empty
    from grouper.pipeline import run

    result = run(
        cards,
        settings,
        jobs=jobs,
        progress=progress,
        use_cache=not no_cache,
        for_report=for_report,
    )
    refuse_empty(result.scan)
    return result


@contextlib.contextmanager
def progress_shown(*, quiet: bool) -> Iterator[TerminalProgress | None]:
    """A progress line on standard error; ``None`` with --quiet or without a terminal."""
    if quiet or not sys.stderr.isatty():
        yield None
        return
    progress = TerminalProgress(sys.stderr)
    try:
        yield progress
    finally:
        progress.close()


class _Complaints(logging.Handler):
    """Shows log records as all other complaints are shown."""

    def emit(self, record: logging.LogRecord) -> None:
        complain(record.getMessage())


def _show_log(level: int) -> None:
    log = logging.getLogger("grouper")
    log.setLevel(level)
    if not any(isinstance(handler, _Complaints) for handler in log.handlers):
        log.addHandler(_Complaints())


def settings_for(file: Path | None, *, no_sight: bool) -> Settings:
    """The settings of a run.

    Raises:
        BadSettings: the file cannot be used.
    """
    from grouper.settings import Settings, load_settings

    settings = Settings() if file is None else load_settings(file)
    if no_sight:
        settings = replace(settings, sight=replace(settings.sight, enabled=False))
    return settings


def default_out(cards: Sequence[Path]) -> Path:
    """``./<card name>-sets``; the names of several cards are joined by ``+``."""
    names = [card.resolve().name or "card" for card in cards]
    return Path("+".join(names) + "-sets")


def is_bad(worst: str | None, fail_on: str) -> bool:
    """Whether a worst severity is at or above ``fail_on``."""
    from grouper.model import SEVERITIES

    levels: list[str] = list(SEVERITIES)
    return worst is not None and fail_on != "never" and levels.index(worst) <= levels.index(fail_on)


def report_group(result: Result, written: Written, out: Path) -> None:
    """Print the summary of ``grouper group``."""
    from grouper.write.clean import shown
    from grouper.write.text import CAUTION, all_findings, many, summary

    style = style_for(sys.stdout)
    click.echo(summary(result, style))
    done = [f"{many(len(written.written), 'file')} written", f"{len(written.unchanged)} unchanged"]
    done += [f"{len(written.removed)} removed"] if written.removed else []
    click.echo(style.wrap(f"Output in {shown(str(out))}: {', '.join(done)}."))
    problems = sum(one.severity == "problem" for one in all_findings(result))
    if problems:
        report = shown(str(out / "report.html"))
        click.echo(style.wrap(f"{many(problems, 'problem')}: look at {report} before you format."))
    click.echo(style.wrap(CAUTION))
    for note in written.notes[:MOST_NOTES]:
        complain(note)
    if len(written.notes) > MOST_NOTES:
        complain(f"and {len(written.notes) - MOST_NOTES} more of the like")


def print_check(result: Result, *, as_json: bool) -> None:
    """Print what ``grouper check`` found."""
    if as_json:
        from grouper.write import card_object
        from grouper.write.plain import json_bytes

        click.echo(json_bytes(card_object(result, now_iso())), nl=False)
        return
    from grouper.write.text import findings_by_set

    click.echo(findings_by_set(result, style_for(sys.stdout)))


def style_for(stream: TextIO) -> Style:
    """Width and colour that suit a stream; NO_COLOR (no-color.org) is heeded."""
    from grouper.write.text import Style

    if not stream.isatty():
        return Style(width=None)
    colour = not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"
    return Style(width=shutil.get_terminal_size().columns, colour=colour)


def now_iso() -> str:
    """The time now, ISO 8601 with offset."""
    return datetime.now().astimezone().isoformat(timespec="seconds")


def main() -> NoReturn:
    """Entry point of the ``grouper`` command."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):  # a narrow encoding must not end the run
            stream.reconfigure(errors="backslashreplace")
    cli(prog_name="grouper")
    raise AssertionError("click ends the program")
