"""The way from the command line into the service: words to options."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from grouper.settings import Settings
from grouper.watch.hooks import hook_from
from grouper.watch.log import Level, Log
from grouper.watch.service import Options, Service


def serve(
    inbox: Path,
    out: Path,
    *,
    once: bool,
    poll: bool,
    on_set: str | None,
    on_card: str | None,
    log_json: bool,
    load: Callable[[], Settings],
    jobs: int,
    use_cache: bool,
    level: Level,
) -> int:
    """Run the service as the command line says: the exit status.

    Raises:
        GrouperError: it cannot start.
    """
    options = Options(
        inbox=inbox,
        out=out,
        load=load,
        jobs=jobs,
        use_cache=use_cache,
        once=once,
        poll=poll,
        on_set=None if on_set is None else hook_from(on_set, "set"),
        on_card=None if on_card is None else hook_from(on_card, "card"),
    )
    return Service(options, Log(level, as_json=log_json)).run()
