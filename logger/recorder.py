"""The recorder: what comes over the wire is stored and concluded from, in one transaction.

Three threads meet here. The network thread only puts messages into a bounded queue. The writer
thread takes them out, drafts, commits, and publishes after the commit. The thread that called
`start` waits. Nothing is reported as stored before it is.
"""

from __future__ import annotations

import argparse
import logging
import queue
import signal
import sys
import threading
import time
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from drivers import config as settings_file
from drivers.clock import Clock, ClockFileError, KitchenClock, SystemClock
from drivers.mqtt import BrokerAddress, Wire
from drivers.reading import MICROSECOND
from drivers.topics import Topics
from logger.alerts import Alerts
from logger.announcer import Announcer
from logger.disk import Disk
from logger.entries import Tick
from logger.freezing import freeze_from
from logger.intake import LARGEST_PAYLOAD, Freeze, Intake, Message
from logger.pantry import with_own
from logger.presence import AnotherRecorder, Presence
from logger.running import RunningBatches, StartBatch, ViewOf
from logger.store import Reader, Store, StoreError, StoreStalled

log = logging.getLogger(__name__)

MISSING_OR_BUSY = 4


@dataclass(frozen=True, slots=True)
class Pace:
    """How the recorder is paced; times in real seconds.

    Attributes:
        commit_s, commit_messages: a commit follows so long, or so many messages, after the first
            uncommitted one. Shorter costs the disk, longer costs the eye.
        queue: messages that wait at most; more are dropped, and sent again by the drivers.
        probe_s: how long another recorder is listened for at the start.
        retry_s: between tries when the store cannot be written.
        silence_us: kitchen time without an entry after which a tick is stored …
        silence_s: … but never sooner than this, so that in a sped-up kitchen a tick does not
            overtake readings that are still on the wire.
        drain_s: for what is queued at the end.
        clear_now: so many closed batches have their present state cleared at the start.
    """

    commit_s: float = 0.05
    commit_messages: int = 500
    queue: int = 20_000
    probe_s: float = 1.0
    retry_s: float = 2.0
    silence_us: int = 2 * MICROSECOND
    silence_s: float = 0.2
    drain_s: float = 2.0
    clear_now: int = 20


class Recorder:
    """Records one kitchen from one broker into one store.

    Args:
        address: the broker.
        kitchen: its name in topics.
        folder: where the store lives.
        clock: kitchen time.
        start_batch: an empty engine from a plan entry; ValueError for a plan that cannot be used.
        view_of: the fold whose document is published on `now/<batch>`; None publishes none.
        freeze: what a plan freezes in; by default what `logger.freezing` takes from the store.

    Raises:
        StoreError: the store cannot be opened, or another process writes to it.
    """

    def __init__(
        self,
        address: BrokerAddress,
        kitchen: str,
        folder: Path,
        clock: Clock,
        start_batch: StartBatch,
        *,
        view_of: ViewOf | None = None,
        freeze: Freeze | None = None,
        pace: Pace = Pace(),
    ) -> None:
        self.topics = topics = Topics(kitchen)
        self.failure: BaseException | None = None
        self.dropped = 0
        self.stored_messages = 0
        self.alerts = Alerts()
        self._pace = pace
        self._clock = clock
        self._folder = folder
        self._store = Store(folder)
        self.log_id = self._store.log_id
        self._reader = Reader(folder)
        self._running = RunningBatches(self._store, start_batch, view_of)
        self._intake = Intake(
            self._store, self._running, topics, freeze or self._freeze, self._commit
        )
        self._queue: queue.Queue[Message] = queue.Queue(pace.queue)
        self._online = False
        self._stopping = threading.Event()
        self._failed = threading.Event()
        self._say_all = threading.Event()
        self._stop_by = float("inf")
        self._first: float | None = None
        self._count = 0
        self._quiet_since_us = clock.now_us()
        self._last_pos = self._store.pos
        self._writer = threading.Thread(target=self._write, name="store-writer")
        self.presence = Presence(
            self.log_id,
            clock.now_us(),
            lambda document: self._wire.publish_json(topics.recorder, document, retain=True),
            self._fail,
        )
        self._wire = Wire(
            address,
            f"coolcrumb-recorder-{self.log_id}",
            will=(topics.recorder, self.presence.document(False)),
            on_connect=self._connected,
            on_disconnect=self._disconnected,
        )
        self._announcer = Announcer(self._wire, topics, self.log_id, clock)
        self._disk = Disk(self._store, clock, self.alerts, self.presence, self._announcer)
        self._wire.subscribe(topics.recorder, lambda _t, payload, _r: self.presence.hear(payload))

    def _freeze(self, document: Mapping[str, Any], pos: int) -> dict[str, Any]:
        return freeze_from(self._reader, document, pos, with_own(self._folder))

    # -- life ----------------------------------------------------------------------------------

    def start(self, given_up: threading.Event | None = None) -> None:
        """Rebuild the open batches, wait for the broker, see that we are alone, and record.

        Returns early, recording nothing, once `given_up` is set while the broker is waited for.

        Raises:
            AnotherRecorder: one is online on this broker already; nothing was recorded.
        """
        self._running.rebuild(self._reader, self._clock.now_us())
        if self._running:
            log.info("open batches: %s", ", ".join(self._running.names))
        self._wire.start()
        while not self._wire.connected.wait(0.1):
            if given_up is not None and given_up.is_set():
                return
        (given_up or self._stopping).wait(self._pace.probe_s)
        if (rival := self.presence.rival()) is not None:
            self._close()
            raise rival
        self._online = True
        self._writer.start()
        # Drivers before instruments: a dead driver's instruments are then offline from the start.
        for name in ("drivers", "instruments", "gaps", "readings", "answers", "commands"):
            self._wire.subscribe(self.topics.every(name), self._receive)
        self._wire.subscribe(self.topics.marks, self._receive)
        self.presence.appear()
        self._say_all.set()
        log.info(
            "recording %s into %s (log %s)", self.topics.kitchen, self._store.path, self.log_id
        )

    def wait(self, timeout_s: float) -> bool:
        """Wait for a failure; True when there is one (see `failure`)."""
        if not self._wire.alive and not self._stopping.is_set():
            self._fail(RuntimeError("the network thread has died"))
        return self._failed.wait(timeout_s)

    def stop(self) -> None:
        """Commit what was accepted, say goodbye, close. Bounded; may be repeated."""
        self._stop_by = time.monotonic() + self._pace.drain_s
        self._stopping.set()
        if self._writer.ident is not None:
            self._writer.join(self._pace.drain_s + 2.0)
            if self._writer.is_alive():
                log.error("the store's writer did not end in time")
        self._close()

    def _close(self) -> None:
        self.presence.disappear()
        last = (self.topics.recorder, self.presence.document(False)) if self._online else None
        self._online = False
        self._wire.stop(last)
        self._reader.close()
        if self._writer.ident is None or not self._writer.is_alive():
            self._store.close()

    def _fail(self, failure: BaseException) -> None:
        if self.failure is None:
            self.failure = failure
        self._failed.set()

    # -- on the network thread -----------------------------------------------------------------

    def _connected(self) -> None:
        self.presence.repeat()
        self._say_all.set()

    def _disconnected(self, reason: str) -> None:
        if not self._stopping.is_set():
            log.warning("the broker is gone: %s; it is tried again", reason)

    def _receive(self, topic: str, payload: bytes, retained: bool) -> None:
        if self._stopping.is_set():
            return
        message = Message(
            topic,
            payload if len(payload) <= LARGEST_PAYLOAD else payload[:4096],
            retained,
            self._clock.now_us(),
            len(payload),
            self._clock.speed(),
        )
        try:
            self._queue.put_nowait(message)
        except queue.Full:
            # Nothing is lost by it: what is not reported as stored is sent again.
            self.dropped += 1

    # -- on the writer thread ------------------------------------------------------------------

    def _write(self) -> None:
        try:
            self._store.adopt()
            while not self._turn():
                pass
        except StoreStalled as stalled:
            log.warning("ended without storing what came last (%s); it is sent again", stalled)
        except BaseException as failure:
            log.exception("the store's writer ends")
            self._fail(failure)

    def _turn(self) -> bool:
        """Take one message or wait a little, commit when it is due; True when all is done."""
        pace = self._pace
        message = self._next_message()
        if message is not None:
            self._intake.take(message)
            self._count += 1
        now = time.monotonic()
        stopping = self._stopping.is_set()
        if self._first is None and (self._store.is_drafted or self._intake.touched):
            self._first = now
        if self._first is not None:
            full = self._count >= pace.commit_messages or now - self._first >= pace.commit_s
            if full or (stopping and self._queue.empty()):
                self._commit()
        elif self._running and message is None:
            self._tick()
        if self._say_all.is_set():
            self._say_all.clear()
            self._commit()  # never say what is not committed
            self._announcer.tell_everything(
                self._store.sources, self._running, self._reader.batches(pace.clear_now)
            )
        self._disk.look(now)
        done = self._queue.empty() and not self._store.is_drafted
        return stopping and (done or now > self._stop_by)

    def _next_message(self) -> Message | None:
        wait_s = self._pace.commit_s
        if self._first is not None:
            wait_s = max(0.0, self._first + wait_s - time.monotonic())
        if self._stopping.is_set():
            wait_s = 0.0
        try:
            return self._queue.get(timeout=wait_s) if wait_s else self._queue.get_nowait()
        except queue.Empty:
            return None

    def _tick(self) -> None:
        """Silence is recorded too: after a while without an entry, time passes all the same."""
        now_us = self._clock.now_us()
        shortest_us = self._pace.silence_s * self._clock.speed() * MICROSECOND
        if now_us - self._quiet_since_us >= max(self._pace.silence_us, shortest_us):
            pos, tick = self._store.add(Tick(now_us), now_us)
            self._running.take(pos, tick, now_us)
            self._commit()

    def _commit(self) -> None:
        """Commit the draft, trying until it is done or we are told to stop; then publish.

        Raises:
            StoreStalled: told to stop while the store cannot be written. Nothing was reported as
                stored, so the drivers keep it.
        """
        began_us: int | None = None
        while self._store.is_drafted:
            try:
                self._store.commit()
            except StoreStalled as stalled:
                if began_us is None:
                    began_us = self._clock.now_us()
                self._disk.stalled(stalled, began_us)
                if self._stopping.wait(self._pace.retry_s):
                    raise
        if began_us is not None:
            self._disk.written_again(began_us)
        self.stored_messages += self._count
        self._count = 0
        self._first = None
        if self._store.pos != self._last_pos:  # repeated or refused messages break no silence
            self._last_pos = self._store.pos
            self._quiet_since_us = self._clock.now_us()
        self._announcer.tell(self._intake.touched, self._running)


def _arguments(argv: list[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m logger.recorder", description=__doc__)
    parser.add_argument("--config", type=Path, help="configuration file")
    parser.add_argument("--broker", required=True, help="mqtt://host:1883")
    parser.add_argument("--folder", type=Path, required=True, help="where the store lives")
    parser.add_argument("--clock", type=Path, help="clock file of a simulated kitchen")
    return parser.parse_args(argv)


def main(
    argv: list[str] | None = None,
    start_batch: StartBatch | None = None,
    pace: Pace = Pace(),
) -> int:
    """Record until SIGTERM or SIGINT; the exit code."""
    from logger.batch import BatchView

    if start_batch is None:
        from logger.conclusions import start_from

        start_batch = start_from

    arguments = _arguments(argv)
    logging.basicConfig(
        level=logging.INFO, format="%(asctime)s %(name)s: %(message)s", stream=sys.stderr
    )
    stop = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stop.set())
    recorder: Recorder | None = None
    try:
        config = (
            settings_file.load(arguments.config) if arguments.config else settings_file.Config()
        )
        clock_file = arguments.clock or (Path(config.clock_file) if config.clock_file else None)
        clock: Clock = KitchenClock(clock_file) if clock_file is not None else SystemClock()
        recorder = Recorder(
            BrokerAddress.parse(arguments.broker),
            config.kitchen,
            arguments.folder,
            clock,
            start_batch,
            view_of=BatchView.of,
            pace=pace,
        )
        return _run(recorder, stop)
    except (
        settings_file.ConfigError,
        ClockFileError,
        StoreError,
        AnotherRecorder,
        ValueError,
    ) as e:
        print(f"recorder: {e}", file=sys.stderr)  # noqa: T201
        return MISSING_OR_BUSY
    finally:
        if recorder is not None:
            recorder.stop()


def _run(recorder: Recorder, stop: threading.Event) -> int:
    recorder.start(stop)
    while not stop.is_set() and not recorder.wait(0.2):
        pass
    if recorder.failure is not None:
        print(f"recorder: {recorder.failure}", file=sys.stderr)  # noqa: T201
        return MISSING_OR_BUSY if isinstance(recorder.failure, AnotherRecorder) else 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
