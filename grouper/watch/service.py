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
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any, Final

import grouper
from grouper.errors import CannotWrite, GrouperError
from grouper.settings import Settings, settings_table
from grouper.watch import tidy
from grouper.watch.changes import Changes
from grouper.watch.desk import PAUSE_S, Desk
from grouper.watch.errands import Errands
from grouper.watch.files import (
    clean_up,
    free_bytes,
    put,
    refuse_nesting,
    remove_output,
    size_of,
)
from grouper.watch.hand import Hand, Started, describe_end, start_worker
from grouper.watch.hooks import Hook, Runner
from grouper.watch.jobs import Job, Outcome, digest_of, outcome_from
from grouper.watch.ledger import Ledger
from grouper.watch.lock import BEAT_S, Lock
from grouper.watch.log import Log
from grouper.watch.look import Folder, Listing, Look, share_files
from grouper.watch.looker import Looker, ThreadedLooker
from grouper.watch.mail import (
    Answer,
    Deaf,
    Ended,
    HookDone,
    Listed,
    Looked,
    Mail,
    Said,
    Signal,
    Touched,
)
from grouper.watch.mounts import silent_type_of
from grouper.watch.notify import tell_manager
from grouper.watch.page import FILE_NAME as PAGE
from grouper.watch.page import page
from grouper.watch.state import Record, StateTrouble, open_state
from grouper.watch.worker import (
    OUT_OF_MEMORY,
    READ_TOO_MUCH,
    too_much_memory,
    too_much_read,
)

IDLE_S: Final = 300.0
"""The child is let go when nothing was to be done for so long: it holds some 150 MB."""
_MB: Final = 1 << 20
_LOOKING_SHARE: Final = 10.0
"""A full look over the inbox may take a tenth of the time."""
_PAGE_S: Final = 1.0
_TROUBLE_S: Final = 15.0
"""Wait before what the disk refused is tried again."""
_MOST_BUGS: Final = 100
"""With more the service gives up and is started anew by whoever started it."""
_BUG_S: Final = 0.5
_RUN_SAVED_S: Final = 3600.0
_SLOW_LOOK_S: Final = 120.0
"""A look that takes longer is worth a word: the share does not answer."""
_MEMORY_SHARE: Final = 0.5
"""A child that holds more than this share of its limit after a card is replaced."""

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


@dataclass(slots=True)
class _Task:
    """The card being grouped."""

    name: str
    record: int
    look: Look
    under: str
    begun: float
    deadline: float


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
        self._task: _Task | None = None
        self._troubles: dict[str, str] = {}
        self._facts: dict[str, str] = {}
        self._strays: tuple[str, ...] = ()
        self._folder: Folder | None = None
        """The inbox itself."""
        self._ending = False
        self._status = 0
        self._deaf = False
        self._bugs = 0
        self._sweep_at = float("-inf")
        self._sweep_begun: float | None = None
        self._list_at = float("inf")
        self._beat_at = float("-inf")
        self._page_at: float | None = float("-inf")
        self._page_least_s = _PAGE_S
        self._save_at = float("-inf")
        self._room_at = float("-inf")
        self._tidy_at = float("inf")
        self._cool_at = float("inf")
        self._warm_at = float("-inf")
        self._failed_once = False
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
            self._ledger = Ledger(
                state,
                self._out,
                clock=self._clock,
                wall=self._wall,
                changed=lambda: self._mark_page(self._clock()),
                trouble=self._trouble,
            )
            self._runner = Runner(self._mail.put)
            self._errands = Errands(
                self._ledger,
                self._runner,
                self._log,
                on_set=self._options.on_set,
                on_card=self._options.on_card,
            )
            self._use(settings)
            self._desk = Desk(settings.watch, once=self._options.once)
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
            self._trouble("bug", f"a bug in grouper, see the log: {error!r}")
            if self._task is None and self._desk.busy is not None:
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
            case Deaf(reason):
                self._go_deaf(reason)
            case Answer(child, body):
                if child == self._hand.number and self._task is not None:
                    self._take_outcome(outcome_from(body), now)
            case Ended(child, status):
                self._take_end(child, status, now)
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
        self._watch_deadline(now)
        self._begin_due(now)
        self._errands.begin(self._settings.watch.hook_most_s)
        self._tell_stages(now)
        self._save(now)
        self._clean_by_rule(now)
        self._show(now)

    def _wait_s(self, now: float) -> float:
        times = [self._beat_at, self._list_at, self._tidy_at]
        if self._sweep_begun is None:
            times.append(self._sweep_at)
        if self._task is not None:
            times.append(self._task.deadline)
        else:
            times.append(self._cool_at)
            if self._desk.next_due(now) is not None:
                times.append(self._room_at)
        if self._page_at is not None:
            times.append(self._page_at)
        if self._ledger.unsaved:
            times.append(self._save_at)
        return max(0.0, min(min(times) - now, self._desk.wait_s(now), BEAT_S))

    # ---- starting and ending

    def _begin_log(self) -> None:
        heard = self._facts["ears"]
        self._log.say(
            "info",
            "began",
            f"watching {self._inbox} ({heard}), writing to {self._out}",
            inbox=self._inbox,
            out=str(self._out),
            ears=heard,
            pid=os.getpid(),
        )

    def _use(self, settings: Settings) -> None:
        self._settings = settings
        self._under = digest_of(
            {
                "settings": settings_table(settings),
                "version": grouper.__version__,
                "inbox": self._inbox,
            }
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
        self._facts = {
            "inbox": self._inbox,
            "version": grouper.__version__,
            "once": str(int(self._options.once)),
            "began": _iso(self._wall()),
            "pid": str(os.getpid()),
        }

    def _put_on_desk(self, record: Record) -> None:
        self._desk.remember(
            record.name,
            None if record.cleaned else record.grouped,
            is_stale=record.under != self._under,
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
        busy = self._task
        if not self._hand.end() and busy is not None and busy.name in self._ledger.here:
            clean_up(self._out, [self._ledger.here[busy.name].out])
        if busy is not None:
            self._desk.give_up(self._clock())
            self._task = None
        self._tell_stages(self._clock())
        self._save_at = float("-inf")
        self._saved_facts = {}
        self._save(self._clock())
        self._write_page(running=False)
        self._log.say("info", "ended", "ended; every card is as it was last grouped")

    def _is_done(self, now: float) -> bool:
        if "inbox" in self._troubles:
            raise GrouperError(f"{self._inbox}: {self._troubles['inbox']}")
        if self._task is not None or self._errands.is_running:
            return False
        if "state" in self._troubles:  # a full disk: nothing that is done can be remembered
            return True
        idle = self._desk.is_idle(now) or self._room_at > now
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
        return ONE_LEFT if left or self._failed_once or self._troubles else 0

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
        self._facts["ears"] = f"polling: {reason}" if self._polls else "events"
        if self._options.once:
            self._facts["ears"] = "once"

    def _go_deaf(self, reason: str) -> None:
        self._deaf = self._polls = True
        self._facts["ears"] = f"polling: {reason}"
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
            self._trouble("slow", "the inbox does not answer; a share may be away")
        elif self._looker.waiting_s < _SLOW_LOOK_S and self._slow_said:
            self._slow_said = False
            self._trouble("slow", "")

    def _take_listing(self, listing: Listing, now: float) -> None:
        if listing.error:
            self._trouble("inbox", f"the inbox cannot be listed: {listing.error}")
            self._end_sweep(now)
            return
        self._trouble("inbox", "")
        if listing.folder != self._folder:
            if self._folder is not None:
                self._choose_ears()  # another disk may be mounted there
            self._folder, self._folders_changed = listing.folder, True
        for stray in set(listing.strays) - set(self._strays):
            self._log.say(
                "warning",
                "stray",
                f"{stray} lies in the inbox and is no folder; it is not looked at",
                name=stray,
            )
        if listing.strays != self._strays:
            self._strays = listing.strays
            self._mark_page(now)
        came, went = self._desk.list_cards(listing.cards, now)
        for name in came:
            self._welcome(name, now)
        for name in went:
            self._see_off(name)
        if self._sweep_begun is not None:
            self._desk.look_again(now)
            self._facts["swept"] = _iso(self._wall())
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
        self._sweep_at = now + max(every_s, (_LOOKING_SHARE - 1) * took_s)
        self._tidy_at = now if watch.keep_days or watch.outputs_most_mb else float("inf")

    def _welcome(self, name: str, now: float) -> None:
        """A folder came: an old card may be back under its name."""
        record = self._ledger.come_back(name)
        if record is not None:
            self._put_on_desk(record)
            self._desk.places[name].look_at = now

    def _see_off(self, name: str) -> None:
        record = self._ledger.here.get(name)
        is_busy = self._task is not None and record is not None and self._task.record == record.id
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
            record = self._new_record(name)
        size = (look.files, look.size_bytes)
        if record is not None and look.files and size != (record.files, record.size_bytes):
            self._ledger.keep(
                replace(record, files=size[0], size_bytes=size[1], changed_at=self._wall())
            )

    def _new_record(self, name: str) -> Record | None:
        record = self._ledger.add(name)
        if record is not None:
            self._log.say("info", "came", f"{name}: a card; waiting until it is still", card=name)
        return record

    def _take_events(self, names: frozenset[str], now: float) -> None:
        for name in names:
            if not name or not self._desk.touch(name, now):
                self._list_at = min(self._list_at, now + PAUSE_S / 4)

    # ---- grouping

    def _begin_due(self, now: float) -> None:
        if self._task is not None or self._ending:
            return
        self._warm(now)
        while (name := self._desk.next_due(now)) is not None:
            if now < self._room_at or not self._has_room(now):
                return
            if self._begin(name, now):
                return

    def _warm(self, now: float) -> None:
        """Have a child ready while cards arrive, and none while nothing happens."""
        if any(record.stage in ("arriving", "waiting") for record in self._ledger.here.values()):
            self._cool_at = now + IDLE_S
            if now < self._warm_at:
                return
            with suppress(OSError):  # said when a card needs it
                self._hand.warm()
        elif now >= self._cool_at:
            self._cool_at = float("inf")
            self._hand.retire()

    def _has_room(self, now: float) -> bool:
        least_mb = self._settings.watch.free_least_mb
        try:
            free_mb = free_bytes(self._out) / _MB
        except OSError:
            free_mb = float("inf")
        if not least_mb or free_mb >= least_mb:
            self._trouble("room", "")
            return True
        self._room_at = now + _TROUBLE_S
        self._trouble(
            "room",
            f"only {free_mb:.0f} MB are free where the outputs go, [watch] free_least_mb = "
            f"{least_mb}; cards wait",
        )
        return False

    def _begin(self, name: str, now: float) -> bool:
        """Give a card to the child; whether it has it."""
        place = self._desk.places[name]
        look = place.look
        assert look is not None
        record = self._ledger.here.get(name) or self._new_record(name)
        if record is None:  # the state could not be written
            self._desk.fail(name, now)
            return False
        if look.trouble:
            self._fail(name, f"{look.detail}", now)
            return False
        if record.grouped is not None and not share_files(record.sample, look.sample):
            record = self._supersede(record)
            if record is None:
                self._desk.fail(name, now)
                return False
        job = Job(
            card=os.path.join(self._inbox, name),  # noqa: PTH118 - foreign bytes
            out=str(self._out / record.out),
            identity=look.identity,
            settings=self._settings,
            jobs=self._options.jobs,
            use_cache=self._options.use_cache,
        )
        try:
            self._hand.give(job)
        except OSError as error:
            self._fail(name, f"no process to group it can be started: {error}", now)
            return False
        self._desk.begin(name)
        most_s = self._settings.watch.card_most_s
        self._task = _Task(name, record.id, look, self._under, now, now + most_s)
        self._log.say("debug", "grouping", f"{name}: being grouped", card=name)
        return True

    def _supersede(self, record: Record) -> Record | None:
        """Another card came under the name of one that was grouped: both keep their outputs."""
        self._ledger.part_with(record)
        self._log.say(
            "info",
            "another",
            f"{record.name}: another card under the same name; the outputs of the one before "
            f"stay in {record.out}",
            card=record.name,
        )
        self._desk.places[record.name].grouped = None
        new = self._new_record(record.name)
        if new is not None:
            look = self._desk.places[record.name].look
            assert look is not None
            new = replace(new, files=look.files, size_bytes=look.size_bytes)
            self._ledger.keep(new)
        return new

    def _take_outcome(self, outcome: Outcome, now: float) -> None:
        task, self._task = self._task, None
        assert task is not None
        self._replace_child(outcome)
        if outcome.kind == "changed":
            self._desk.put_off(task.name, now)
            self._log.say(
                "info",
                "changed",
                f"{task.name}: changed while it was read; grouped once it is still again",
                card=task.name,
            )
        elif outcome.kind == "failed":
            self._fail(task.name, outcome.error, now, outcome.trace)
        else:
            self._take_result(task, outcome, now)

    def _replace_child(self, outcome: Outcome) -> None:
        watch = self._settings.watch
        too_big = bool(watch.memory_most_mb) and (
            outcome.memory_mb > _MEMORY_SHARE * watch.memory_most_mb
        )
        if too_big or self._hand.cards >= watch.worker_cards:
            self._hand.retire()

    def _take_result(self, task: _Task, outcome: Outcome, now: float) -> None:
        record = self._ledger.by_number(task.record)
        if record is None:  # it left before it was ever grouped
            self._desk.finish(task.name, task.look.identity, now)
            return
        seconds = now - task.begun
        new = replace(
            record,
            stage="done" if record.gone_at is None else "gone",
            files=task.look.files,
            size_bytes=task.look.size_bytes,
            sample=task.look.sample,
            grouped=task.look.identity,
            under=task.under,
            grouped_at=self._grouped_at(record, outcome),
            took_s=round(seconds, 3),
            digest=outcome.digest,
            told=dict(outcome.told or {}),
            error=None,
            error_at=None,
            tries=0,
            failed=None,
            retry_at=None,
            cleaned=False,
        )
        digests = {one.id: one.digest for one in outcome.sets}

        def write() -> None:
            asked = list(
                self._errands.asked_for(self._inbox, self._out / new.out, record, new, outcome)
            )
            self._ledger.state.save(new)
            self._ledger.state.put_sets(record.id, digests)
            self._ledger.state.add_errands(record.id, asked)

        if not self._ledger.attempt(write):
            self._fail(task.name, f"the state cannot be written: {self._troubles['state']}", now)
            return
        self._ledger.keep(new)
        self._ledger.unsaved.pop(record.id, None)
        self._desk.finish(task.name, task.look.identity, now)
        if task.under != self._under and task.name in self._desk.places:
            self._desk.places[task.name].is_stale = True  # the settings changed meanwhile
        self._facts["last"] = task.name.encode("utf-8", "backslashreplace").decode()
        self._facts["last_at"] = _iso(self._wall())
        self._say_grouped(task.name, outcome, seconds)

    def _grouped_at(self, record: Record, outcome: Outcome) -> float:
        """When its outputs last changed: a card that is only looked over keeps its place."""
        same = record.grouped_at is not None and outcome.digest == record.digest
        return record.grouped_at if same and record.grouped_at else self._wall()

    def _say_grouped(self, name: str, outcome: Outcome, seconds: float) -> None:
        told: Mapping[str, Any] = outcome.told or {}
        words = ", ".join(str(words) for _, words in told.get("headline", ()))
        self._log.say(
            "info",
            "grouped",
            f"{name}: grouped in {seconds:.1f} s: {words}; "
            f"{outcome.written} files written, {outcome.removed} removed",
            card=name,
            seconds=round(seconds, 3),
            sets=told.get("sets"),
            problems=told.get("problems"),
            written=outcome.written,
            removed=outcome.removed,
        )
        for note in outcome.notes:
            self._log.say("warning", "note", f"{name}: {note}", card=name)

    def _fail(self, name: str, error: str, now: float, trace: str = "") -> None:
        self._failed_once = True
        wait_s = self._desk.fail(name, now)
        record = self._ledger.here.get(name)
        if record is None:
            return
        place = self._desk.places[name]
        self._ledger.keep(
            replace(
                record,
                stage="failed",
                error=error,
                error_at=self._wall(),
                tries=place.tries,
                failed=place.failed,
                retry_at=self._wall() + wait_s,
            )
        )
        again = "" if self._options.once else f"; tried again in {wait_s:.0f} s"
        self._log.say("error", "failed", f"{name}: {error}{again}", card=name, trace=trace or None)
        if trace:
            for line in trace.splitlines():
                self._log.say("info", "trace", line)

    def _take_end(self, child: int, status: int, now: float) -> None:
        if not self._hand.lost(child):
            return
        if self._task is None:  # it could not even start: not at once again
            self._warm_at = now + _TROUBLE_S
            self._log.say("warning", "child-ended", describe_end(status))
            return
        task, self._task = self._task, None
        watch = self._settings.watch
        reasons = {
            READ_TOO_MUCH: too_much_read(watch.read_most_mb),
            OUT_OF_MEMORY: too_much_memory(watch.memory_most_mb),
        }
        self._fail(task.name, reasons.get(status, describe_end(status)), now)

    def _watch_deadline(self, now: float) -> None:
        if self._task is None or now < self._task.deadline:
            return
        task, self._task = self._task, None
        self._hand.kill()
        most_s = self._settings.watch.card_most_s
        self._fail(task.name, f"grouping took longer than [watch] card_most_s = {most_s:g}", now)

    # ---- settings

    def _reload(self, now: float) -> None:
        try:
            settings = self._options.load()
        except GrouperError as error:
            self._trouble("settings", f"the settings are no good, the old ones stay: {error}")
            return
        self._trouble("settings", "")
        self._use(settings)
        self._desk.settings = settings.watch
        self._desk.restale(
            name for name, record in self._ledger.here.items() if record.under != self._under
        )
        if self._task is None:
            self._hand.retire()  # limits are the new ones for the next card
        self._sweep_at = now
        self._log.say("info", "reloaded", "the settings were read again")

    # ---- remembering and showing

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

    def _save(self, now: float) -> None:
        if now < self._save_at or not (self._ledger.unsaved or self._facts_changed()):
            return

        facts = self._all_facts()
        if self._ledger.save(facts):
            self._saved_facts = facts
        else:
            self._save_at = now + _TROUBLE_S

    _saved_facts: Mapping[str, str] = {}

    def _all_facts(self) -> dict[str, str]:
        return {
            **self._facts,
            "troubles": "\n".join(self._troubles.values()),
            "command_error": self._errands.error,
            **self._ledger.times(),
        }

    def _facts_changed(self) -> bool:
        """Whether anything is told anew; times alone can wait."""
        now, before = self._all_facts(), dict(self._saved_facts)
        if float(now["run_s"]) - float(before.get("run_s", "-inf")) > _RUN_SAVED_S:
            return True
        timeless = {"swept", "run_s", "run_wall"}
        return any(now.get(name) != before.get(name) for name in now.keys() - timeless)

    def _trouble(self, what: str, words: str) -> None:
        """Note a trouble of the service itself, or that it is over."""
        if self._troubles.get(what, "") == words:
            return
        if words:
            news = what not in self._troubles
            self._troubles[what] = words
            if news:
                self._log.say("error", f"trouble-{what}", words)
        else:
            del self._troubles[what]
            self._log.say("info", f"over-{what}", "the trouble is over")
        self._mark_page(self._clock())

    def _mark_page(self, now: float) -> None:
        if self._page_at is None:
            self._page_at = now + self._page_least_s

    def _show(self, now: float) -> None:
        if self._page_at is None or now < self._page_at:
            return
        began = time.perf_counter()
        if self._write_page(running=True):
            self._page_least_s = max(_PAGE_S, 10 * (time.perf_counter() - began))
            self._page_at = None
        else:
            self._page_at = now + _TROUBLE_S

    def _write_page(self, *, running: bool) -> bool:
        data = page(
            self._ledger.all(),
            inbox=self._inbox,
            now=self._wall(),
            running=running and not self._options.once,
            once=self._options.once,
            troubles=list(self._troubles.values()),
            strays=self._strays,
        )
        try:
            put(self._out / PAGE, data)
        except OSError as error:
            self._trouble("page", f"{PAGE} cannot be written: {error.strerror or error}")
            return False
        self._trouble("page", "")
        return True

    # ---- clean-up by rule

    def _clean_by_rule(self, now: float) -> None:
        if now < self._tidy_at:
            return
        self._tidy_at = float("inf")
        watch = self._settings.watch
        records = self._ledger.all()
        places = self._desk.places
        unseen = {name for name, place in places.items() if place.look is None}
        sizes: dict[int, int] = {}
        if tidy.wants_sizes(watch):
            sizes = {one.id: size_of(self._out / one.out) for one in records if not one.cleaned}
        for record, why in tidy.to_remove(records, sizes, watch, self._ledger.run_s()):
            if record.name in unseen and record.id not in self._ledger.gone:
                continue  # it came back just now
            try:
                removed, kept = remove_output(self._out / record.out)
            except (CannotWrite, OSError) as error:
                self._log.say("warning", "not-removed", f"{record.name}: {error}")
                continue
            self._ledger.keep(replace(record, cleaned=True))
            self._log.say(
                "info",
                "removed",
                f"{record.name}: {removed} files in {record.out} removed ({why})",
                card=record.name,
                files=removed,
            )
            for note in kept:
                self._log.say("warning", "kept", f"{record.name}: {note}", card=record.name)


def _iso(at: float) -> str:
    return datetime.fromtimestamp(at).astimezone().isoformat(timespec="seconds")


def run_service(options: Options, log: Log) -> int:
    """Run the service until it is asked to stop: the exit status.

    Raises:
        GrouperError: it cannot start.
    """
    return Service(options, log).run()
