"""The service at work: mail comes in, the desk decides, looks and jobs go out.

One loop in the main thread; everything that can take long or hang is done by a thread
(``looker``, ``hooks``) or a child (``hand``) that can be left behind. Nothing that a card, a
command or a full disk does ends the loop.
"""

from __future__ import annotations

import os
import queue
import signal
import threading
import time
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import grouper
from grouper.errors import CannotWrite, GrouperError
from grouper.settings import Settings
from grouper.watch.board import Board
from grouper.watch.changes import Changes
from grouper.watch.clearing import Clearing
from grouper.watch.desk import PAUSE_S, Desk
from grouper.watch.errands import Errands
from grouper.watch.files import (
    clean_up,
    refuse_nesting,
)
from grouper.watch.grouping import Grouping
from grouper.watch.hand import Hand, Started, start_worker
from grouper.watch.hooks import Hook, Runner
from grouper.watch.ledger import Ledger
from grouper.watch.lock import BEAT_S, Lock
from grouper.watch.log import Log
from grouper.watch.look import Folder, Listing, Look
from grouper.watch.looker import Looker, ThreadedLooker
from grouper.watch.mail import (
    Answer,
    Deaf,
    Ended,
    HookDone,
    Listed,
    Looked,
    Mail,
    Missed,
    Said,
    Signal,
    Touched,
)
from grouper.watch.mounts import silent_type_of
from grouper.watch.notify import tell_manager
from grouper.watch.state import Record, StateTrouble, iso, open_state

_LOOKING_SHARE: Final = 10.0
"""A full look over the inbox may take a tenth of the time."""
_MOST_BUGS: Final = 100
"""With more the service gives up and is started anew by whoever started it."""
_BUG_S: Final = 0.5
_SLOW_LOOK_S: Final = 120.0
"""A look that takes longer is worth a word: the share does not answer."""

ONE_LEFT: Final = 1
"""Status of ``--once`` when a card failed or was left."""
INTERRUPTED: Final = 130
"""Status after Ctrl-C, as of all commands."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """How the service was asked to run."""

    inbox: Path
    out: Path
    load: Callable[[], Settings]
    """Reads the settings; raises GrouperError where they are no good."""
    jobs: int = 1
    use_cache: bool = True
    once: bool = False
    poll: bool = False
    on_set: Hook | None = None
    on_card: Hook | None = None


class Service:
    """The service. ``run`` it once.

    ``clock`` only runs forwards and decides everything; ``wall`` is told to people.
    """

    def __init__(
        self,
        options: Options,
        log: Log,
        *,
        clock: Callable[[], float] = time.monotonic,
        wall: Callable[[], float] = time.time,
        start: Callable[[], Started] = start_worker,
        looker: Callable[[str, Callable[[Mail], None]], Looker] = ThreadedLooker,
        changes: Callable[[str, Callable[[Mail], None]], Changes] = Changes,
    ) -> None:
        self._options = options
        self._log = log
        self._clock = clock
        self._wall = wall
        self._mail: queue.SimpleQueue[Mail] = queue.SimpleQueue()
        self._hand = Hand(self._mail.put, start)
        self._make_looker = looker
        self._make_changes = changes
        self._folder: Folder | None = None
        """The inbox itself."""
        self._ending = False
        self._status = 0
        self._deaf = False
        self._bugs = 0
        self._sweep_at = float("-inf")
        self._sweep_least_at = float("-inf")
        self._sweep_begun: float | None = None
        self._missed = False
        """Events were missed while everything is looked at."""
        self._list_at = float("inf")
        self._beat_at = float("-inf")
        self._slow_said = False
        self._folders_changed = True
        """Events are to be asked for from other folders than before."""

    # ---- the run

    def run(self) -> int:
        """Serve until asked to stop: the exit status.

        Raises:
            GrouperError: the service cannot start; nothing was touched but the lock and state.
        """
        options = self._options
        settings = options.load()
        refuse_nesting(options.inbox, options.out)
        self._inbox = os.path.realpath(options.inbox)
        self._out = Path(os.path.realpath(options.out))
        try:
            self._out.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise CannotWrite(f"{options.out}: cannot be made: {error.strerror}") from error
        lock = Lock(self._out)
        try:
            with self._signals():
                return self._serve(settings, lock)
        finally:
            lock.release()

    def _serve(self, settings: Settings, lock: Lock) -> int:
        try:
            state, fault = open_state(self._out)
        except StateTrouble as error:
            raise CannotWrite(f"the state cannot be kept: {error}") from error
        try:
            if fault:
                self._log.say(
                    "warning",
                    "state-set-aside",
                    f"the state file was no good and is set aside ({fault}); "
                    f"everything is looked at anew",
                )
            options = self._options
            self._settings = settings
            self._board = Board(
                self._inbox,
                self._out,
                self._log,
                once=options.once,
                clock=self._clock,
                wall=self._wall,
            )
            self._ledger = Ledger(
                state,
                self._out,
                clock=self._clock,
                wall=self._wall,
                changed=self._board.mark,
                trouble=self._board.trouble,
            )
            self._runner = Runner(self._mail.put)
            self._errands = Errands(
                self._ledger,
                self._runner,
                self._log,
                on_set=options.on_set,
                on_card=options.on_card,
            )
            self._clearing = Clearing(self._ledger, self._out, self._log, self._clock)
            self._desk = Desk(settings.watch, once=options.once)
            self._grouping = Grouping(
                self._inbox,
                self._out,
                settings,
                self._log,
                ledger=self._ledger,
                desk=self._desk,
                board=self._board,
                hand=self._hand,
                errands=self._errands,
                wall=self._wall,
                jobs=options.jobs,
                use_cache=options.use_cache,
            )
            self._remember()
            self._looker = self._make_looker(self._inbox, self._mail.put)
            self._changes = self._make_changes(self._inbox, self._mail.put)
            self._choose_ears()
            self._begin_log()
            tell_manager("READY=1")
            try:
                return self._loop(lock)
            finally:
                self._end()
        finally:
            state.close()

    def _loop(self, lock: Lock) -> int:
        while True:
            now = self._clock()
            if now >= self._beat_at:
                if not lock.is_there():
                    raise CannotWrite(
                        f"{self._out} was emptied or moved away while the service ran; "
                        f"start it again"
                    )
                lock.beat()
                tell_manager("WATCHDOG=1")
                self._beat_at = now + BEAT_S
            with self._bugs_told():
                self._step(now)
            if self._ending:
                return self._status
            if self._options.once and self._is_done(self._clock()):
                return self._once_status()
            with self._bugs_told():
                self._take_mail(self._wait_s(self._clock()))

    @contextmanager
    def _bugs_told(self) -> Iterator[None]:
        """A bug that a card brings to light is told and passed over: the others go on."""
        try:
            yield
        except GrouperError:
            raise
        except Exception as error:
            self._bugs += 1
            if self._bugs > _MOST_BUGS:
                raise
            trace = traceback.format_exc()
            self._log.say("error", "bug", f"a bug in grouper: {error!r}", trace=trace)
            self._board.trouble("bug", f"a bug in grouper, see the log: {error!r}")
            if self._grouping.task is None and self._desk.busy is not None:
                self._desk.fail(self._desk.busy, self._clock())
            time.sleep(_BUG_S)

    def _take_mail(self, wait_s: float) -> None:
        """Take what mail there is, waiting for the first."""
        try:
            mail = self._mail.get(timeout=wait_s) if wait_s > 0 else self._mail.get_nowait()
            while True:
                self._handle(mail, self._clock())
                mail = self._mail.get_nowait()
        except queue.Empty:
            pass

    def _handle(self, mail: Mail, now: float) -> None:
        match mail:
            case Listed(listing):
                self._take_listing(listing, now)
            case Looked(name, look):
                self._take_look(name, look, now)
            case Touched(names):
                self._take_events(names, now)
            case Missed():
                self._look_for_missed(now)
            case Deaf(reason):
                self._go_deaf(reason)
            case Answer(child, body):
                self._grouping.take_answer(child, body, now)
            case Ended(child, status):
                self._grouping.take_end(child, status, now)
            case Said(line):
                self._log.say("info", "child-said", f"the process that groups says: {line}")
            case HookDone():
                self._errands.take(mail)
            case Signal("stop"):
                self._ending = True
                self._status = ONE_LEFT if self._options.once else 0
            case Signal("interrupt"):
                self._ending = True
                self._status = INTERRUPTED
            case Signal("reload"):
                self._reload(now)

    def _step(self, now: float) -> None:
        """Do all that is to be done now."""
        if self._ending:
            return
        self._look_about(now)
        self._grouping.watch_deadline(now)
        self._grouping.begin_due(now)
        self._errands.begin(self._settings.watch.hook_most_s)
        self._tell_stages(now)
        self._board.save(self._ledger, self._errands.error)
        if now >= self._clearing.at:
            places = self._desk.places.items()
            unseen = {name for name, place in places if place.look is None}
            self._clearing.run(self._settings.watch, unseen)
        self._board.show(self._ledger)

    def _wait_s(self, now: float) -> float:
        times = [self._beat_at, self._list_at, self._clearing.at, *self._grouping.times(now)]
        if self._sweep_begun is None:
            times.append(self._sweep_at)
        if self._board.page_at is not None:
            times.append(self._board.page_at)
        if self._ledger.unsaved:
            times.append(self._board.save_at)
        return max(0.0, min(min(times) - now, self._desk.wait_s(now), BEAT_S))

    # ---- starting and ending

    def _begin_log(self) -> None:
        heard = self._board.facts["ears"]
        self._log.say(
            "info",
            "began",
            f"watching {self._inbox} ({heard}), writing to {self._out}",
            inbox=self._inbox,
            out=str(self._out),
            ears=heard,
            pid=os.getpid(),
        )

    def _remember(self) -> None:
        """Take up what an earlier run left, and clean up behind one that was killed."""
        found = self._ledger.load(self._inbox)
        if found:
            self._log.say("info", "adopted", f"the outputs of {found} cards are known again")
        for record in self._ledger.here.values():
            self._put_on_desk(record)
        removed = clean_up(self._out, [record.out for record in self._ledger.all()])
        if removed:
            self._log.say(
                "info", "cleaned-up", f"{removed} half-written files of a killed run removed"
            )
        self._board.facts = {
            "inbox": self._inbox,
            "version": grouper.__version__,
            "once": str(int(self._options.once)),
            "began": iso(self._wall()),
            "pid": str(os.getpid()),
        }

    def _put_on_desk(self, record: Record) -> None:
        self._desk.remember(
            record.name,
            None if record.cleaned else record.grouped,
            is_stale=record.under != self._grouping.under,
            tries=record.tries,
            failed=None if self._options.once else record.failed,
        )
        if record.retry_at is not None and record.failed is not None:
            wait_s = min(
                max(0.0, record.retry_at - self._wall()), self._desk.wait_after(record.tries)
            )
            self._desk.places[record.name].retry_at = self._clock() + wait_s

    @contextmanager
    def _signals(self) -> Iterator[None]:
        """Signals become mail; what they did before is put back afterwards."""
        if threading.current_thread() is not threading.main_thread():
            yield
            return
        wanted = {signal.SIGTERM: "stop", signal.SIGINT: "interrupt", signal.SIGHUP: "reload"}
        before = {}
        for number, what in wanted.items():
            mail = Signal(what)  # type: ignore[arg-type]
            before[number] = signal.signal(number, lambda *_, mail=mail: self._mail.put(mail))
        try:
            yield
        finally:
            for number, old in before.items():
                signal.signal(number, old)

    def _end(self) -> None:
        """Leave nothing running and nothing half-written."""
        tell_manager("STOPPING=1")
        self._looker.stop()
        self._changes.close()
        self._runner.end()
        self._grouping.end(self._clock())
        self._tell_stages(self._clock())
        self._board.save(self._ledger, self._errands.error, at_once=True)
        self._board.write(self._ledger, running=False)
        self._log.say("info", "ended", "ended; every card is as it was last grouped")

    def _is_done(self, now: float) -> bool:
        if "inbox" in self._board.troubles:
            raise GrouperError(f"{self._inbox}: {self._board.troubles['inbox']}")
        if self._grouping.task is not None or self._errands.is_running:
            return False
        if "state" in self._board.troubles:  # a full disk: nothing that is done can be remembered
            return True
        idle = self._desk.is_idle(now) or self._grouping.room_at > now
        return idle and not self._ledger.unsaved and self._errands.is_done

    def _once_status(self) -> int:
        left = self._desk.left()
        for name in left:
            self._log.say(
                "warning",
                "left",
                f"{name}: its files still changed; left for the next time",
                card=name,
            )
        return ONE_LEFT if left or self._grouping.failed_once or self._board.troubles else 0

    # ---- looking

    def _choose_ears(self) -> None:
        """Listen for events, or poll where none come."""
        kind = silent_type_of(self._inbox)
        self._polls = self._deaf or self._options.poll or kind is not None
        if self._polls:
            self._changes.close()
        if self._deaf:
            return
        reason = "asked for" if self._options.poll else f"a {kind} file system sends no events"
        self._board.facts["ears"] = f"polling: {reason}" if self._polls else "events"
        if self._options.once:
            self._board.facts["ears"] = "once"

    def _look_for_missed(self, now: float) -> None:
        """Something changed somewhere: look at everything, once more where that is under way."""
        self._missed = self._sweep_begun is not None
        if not self._missed:
            self._sweep_at = min(self._sweep_at, max(now, self._sweep_least_at))

    def _go_deaf(self, reason: str) -> None:
        self._deaf = self._polls = True
        self._board.facts["ears"] = f"polling: {reason}"
        self._sweep_at = self._clock()
        self._log.say("warning", "deaf", f"no events any more ({reason}); polling from now on")

    def _look_about(self, now: float) -> None:
        if self._sweep_begun is None and now >= self._sweep_at:
            self._sweep_begun = now
            self._looker.list()
        elif now >= self._list_at:
            self._looker.list()
        if now >= self._list_at:
            self._list_at = float("inf")
        if self._folders_changed and not self._polls and not self._options.once:
            self._folders_changed = False
            folders = [self._folder] if self._folder is not None else []
            folders += [
                folder
                for place in self._desk.places.values()
                if place.look is not None
                for folder in place.look.folders
            ]
            if self._changes.watch(folders):
                later = now + 2 * PAUSE_S
                for place in self._desk.places.values():
                    place.look_at = min(place.look_at, later)
        for name in self._desk.to_look(now):
            self._looker.look(name, self._settings.watch.files_most)
        if self._looker.waiting_s > _SLOW_LOOK_S and not self._slow_said:
            self._slow_said = True
            self._board.trouble("slow", "the inbox does not answer; a share may be away")
        elif self._looker.waiting_s < _SLOW_LOOK_S and self._slow_said:
            self._slow_said = False
            self._board.trouble("slow", "")

    def _take_listing(self, listing: Listing, now: float) -> None:
        if listing.error:
            self._board.trouble("inbox", f"the inbox cannot be listed: {listing.error}")
            self._end_sweep(now)
            return
        self._board.trouble("inbox", "")
        if listing.folder != self._folder:
            if self._folder is not None:
                self._choose_ears()  # another disk may be mounted there
            self._folder, self._folders_changed = listing.folder, True
        self._board.note_strays(listing.strays)
        came, went = self._desk.list_cards(listing.cards, now)
        for name in came:
            self._welcome(name, now)
        for name in went:
            self._see_off(name)
        if self._sweep_begun is not None:
            self._desk.look_again(now)
            self._board.facts["swept"] = iso(self._wall())
            if not self._desk.places:
                self._end_sweep(now)

    def _end_sweep(self, now: float) -> None:
        """Plan the next full look by how long this one took."""
        if self._sweep_begun is None:
            return
        took_s = now - self._sweep_begun
        self._sweep_begun = None
        watch = self._settings.watch
        every_s = watch.poll_s if self._polls else watch.rescan_s
        self._sweep_least_at = now + (_LOOKING_SHARE - 1) * took_s
        self._sweep_at = max(now if self._missed else now + every_s, self._sweep_least_at)
        self._missed = False
        self._clearing.plan(now)

    def _welcome(self, name: str, now: float) -> None:
        """A folder came: an old card may be back under its name."""
        record = self._ledger.come_back(name)
        if record is not None:
            self._put_on_desk(record)
            self._desk.places[name].look_at = now

    def _see_off(self, name: str) -> None:
        record = self._ledger.here.get(name)
        task = self._grouping.task
        is_busy = task is not None and record is not None and task.record == record.id
        if self._ledger.leave(name, is_busy=is_busy):
            self._log.say("info", "gone", f"{name}: left the inbox; its outputs stay", card=name)

    def _take_look(self, name: str, look: Look, now: float) -> None:
        place = self._desk.places.get(name)
        before = place.look.folders if place is not None and place.look is not None else ()
        self._folders_changed |= before != look.folders
        if look.trouble in ("gone", "link"):
            self._list_at = min(self._list_at, now + PAUSE_S)
            if place is not None:
                place.asked_at, place.look_at = None, float("inf")
        else:
            self._desk.take_look(name, look, now)
        if self._sweep_begun is not None and not any(
            place.asked_at is not None for place in self._desk.places.values()
        ):
            self._end_sweep(now)
        if place is None or look.trouble in ("gone", "link", "stopped"):
            return
        record = self._ledger.here.get(name)
        if record is None and (look.files or look.trouble):
            record = self._grouping.new_record(name)
        size = (look.files, look.size_bytes)
        if record is not None and look.files and size != (record.files, record.size_bytes):
            self._ledger.keep(
                replace(record, files=size[0], size_bytes=size[1], changed_at=self._wall())
            )

    def _take_events(self, names: frozenset[str], now: float) -> None:
        for name in names:
            if not name or not self._desk.touch(name, now):
                self._list_at = min(self._list_at, now + PAUSE_S / 4)

    # ---- settings

    def _reload(self, now: float) -> None:
        try:
            settings = self._options.load()
        except GrouperError as error:
            self._board.trouble("settings", f"the settings are no good, the old ones stay: {error}")
            return
        self._board.trouble("settings", "")
        self._settings = settings
        self._desk.settings = settings.watch
        self._grouping.reload(settings)
        self._sweep_at = now
        self._log.say("info", "reloaded", "the settings were read again")

    # ---- where each card is

    def _tell_stages(self, now: float) -> None:
        for name, record in list(self._ledger.here.items()):
            if name not in self._desk.places:
                continue
            stage = self._desk.stage(name)
            if record.gone_at is not None and self._desk.places[name].look is None:
                continue
            if stage is None:
                if record.gone_at is None and record.grouped_at is not None:
                    self._say_emptied(record)
            elif (stage, None) != (record.stage, record.gone_at):
                self._ledger.keep(replace(record, stage=stage, gone_at=None, gone_run_s=None))

    def _say_emptied(self, record: Record) -> None:
        self._ledger.empty(record)
        self._log.say(
            "info", "emptied", f"{record.name}: is empty now; its outputs stay", card=record.name
        )
