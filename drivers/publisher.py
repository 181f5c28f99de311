"""Readings to the broker: out of the outbox, in order, again until the recorder has them.

One thread owns the outbox and decides what is sent. It takes everything that is queued, commits
once and publishes; while it commits, the next batch gathers. So batches grow under load by
themselves and no timer delays a reading. MQTT callbacks only leave word and wake it.

Sending is go-back-N: up to `WINDOW` readings ahead of what the recorder has stored, and again from
the first unstored one after a reconnect, when the recorder or its log changes, and after
`STALL_S` without progress.
"""

from __future__ import annotations

import contextlib
import logging
import queue
import sqlite3
import threading
import time
from collections.abc import Callable, Sequence
from typing import Any

from drivers import senml
from drivers.clock import Clock
from drivers.course import Course
from drivers.documents import Documents
from drivers.ear import Ear
from drivers.lanes import Item, Lane
from drivers.mqtt import BrokerAddress, Wire
from drivers.outbox import Outbox
from drivers.reading import Reading, seconds
from drivers.topics import Topics

log = logging.getLogger(__name__)

QUEUED_BATCHES = 2_000
BATCHES_A_COMMIT = 500
WINDOW = 2_000
READINGS_A_PACK = 100
PACKS_A_TURN = 10
STALL_S = 5.0
TURN_S = 0.25
DISK_RETRY_S = 1.0
DRAIN_S = 2.0
# What is stored leaves the file along with the next readings, or after this long without any.
TIDY_S = 1.0
# A stored-up-to behind what was dropped is believed after this many stalls in a row: before, it
# may be a retained word that a broker kept too long.
STALLS_TO_BELIEVE = 2

OnCommand = Callable[[dict[str, Any]], None]


class Publisher:
    """The outbox's thread and the connection to the broker.

    Args:
        address: the broker.
        topics: of the kitchen.
        outbox: opened already; from `start` on it belongs to the publisher's thread.
        clock: kitchen time for the documents' ``t``.
        on_command: called on the network thread with each command document; must not block.
        on_death: called with the exception that ended the thread, if one did.

    Attributes:
        driver_id: name of this driver on the wire, lasting as long as the outbox's file.
    """

    def __init__(
        self,
        address: BrokerAddress,
        topics: Topics,
        outbox: Outbox,
        clock: Clock,
        *,
        on_command: OnCommand | None = None,
        on_death: Callable[[BaseException], None] | None = None,
        stall_s: float = STALL_S,
    ) -> None:
        self.driver_id = f"drivers-{outbox.boot[:8]}"
        self.boot = outbox.boot
        self._topics = topics
        self._outbox = outbox
        self._clock = clock
        self._on_death = on_death
        self._stall_s = stall_s
        self._queue: queue.Queue[Sequence[Item] | None] = queue.Queue(QUEUED_BATCHES)
        self._courses: dict[str, Course] = {}
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="outbox", daemon=False)
        self._documents = Documents(topics)
        # The outbox's thread's own view.
        self._tidied_s = time.monotonic()
        self._recorder: dict[str, Any] = {}
        self._stored: dict[str, dict[str, Any]] = {}
        self._ear = Ear(topics, self._wake, on_command)
        self.wire = Wire(
            address,
            f"coolcrumb-{topics.kitchen}-{self.driver_id}",
            will=(topics.drivers(self.driver_id), {"online": False}),
            on_connect=self._ear.connect,
            on_disconnect=lambda reason: log.warning("the broker is gone (%s)", reason),
        )
        self.wire.subscribe(topics.recorder, self._ear.recorder)
        self.wire.subscribe(topics.stored("+"), self._ear.stored)
        self.wire.subscribe(topics.commands("+"), self._ear.command)

    # From the instruments' threads.

    def put(self, items: Sequence[Item]) -> bool:
        """Hand over readings, gaps, jumps in order; all or none.

        Returns:
            False when the queue is full (the disk does not keep up): the caller declares the gap.
        """
        try:
            self._queue.put_nowait(items)
        except queue.Full:
            return False
        return True

    def announce(self, instrument: str, document: dict[str, Any]) -> None:
        """Publish an instrument's state, retained, and again after each reconnect."""
        self._documents.announce(instrument, document)
        self._wake()

    def answer(self, instrument: str, document: dict[str, Any]) -> None:
        """Publish the answer to a command."""
        self._documents.answer(instrument, document)
        self._wake()

    # Life.

    def start(self) -> None:
        self._thread.start()
        self.wire.start()

    @property
    def alive(self) -> bool:
        return self._thread.is_alive() and self.wire.alive

    def stop(self) -> None:
        """Commit what is queued, send what can be sent within `DRAIN_S`, say goodbye, disconnect.

        Readings the recorder has not stored stay in the outbox's file.
        """
        self._stopping.set()
        self._wake()
        if self._thread.ident is not None:
            self._thread.join()
        last = {"online": False, "t": seconds(self._clock.now_us())}
        # Resolving a broker's name cannot be interrupted; the process does not wait for it.
        ending = threading.Thread(
            target=self.wire.stop,
            args=((self._topics.drivers(self.driver_id), last),),
            name="goodbye",
            daemon=True,
        )
        ending.start()
        ending.join(1.5)
        if ending.is_alive():
            log.warning("the connection to %s did not end in time", self.wire.address.url)

    def _wake(self) -> None:
        with contextlib.suppress(queue.Full):
            self._queue.put_nowait(None)

    # The outbox's thread.

    def _run(self) -> None:
        try:
            more = False
            while not self._stopping.is_set():
                more = self._turn(0.0 if more else TURN_S)
            self._drain()
        except BaseException as error:
            log.exception("the outbox's thread ended")
            if self._on_death is not None:
                self._on_death(error)
        finally:
            self._outbox.close()

    def _turn(self, wait_s: float) -> bool:
        """One round; True when there is more to send at once."""
        items = self._take(wait_s)
        fresh: list[Reading] = []
        if items or (self._outbox.has_stored and time.monotonic() - self._tidied_s >= TIDY_S):
            fresh = self._commit(items)
            self._tidied_s = time.monotonic()
        self._hear()
        return self._send(fresh)

    def _take(self, wait_s: float) -> list[Item]:
        items: list[Item] = []
        try:
            batch = self._queue.get(timeout=wait_s) if wait_s else self._queue.get_nowait()
            for _ in range(BATCHES_A_COMMIT):
                items.extend(batch or ())
                batch = self._queue.get_nowait()
            items.extend(batch or ())
        except queue.Empty:
            pass
        return items

    def _commit(self, items: list[Item]) -> list[Reading]:
        """Commit; a full or stuck disk is waited for, with the queue in front filling up."""
        failures = 0
        while True:
            try:
                numbered = self._outbox.commit(items)
            except sqlite3.OperationalError as error:
                if not failures:
                    log.error("the outbox %s cannot be written: %s", self._outbox.path, error)
                failures += 1
                if self._stopping.wait(DISK_RETRY_S) and failures > 1:
                    log.error("stopped with %d records that could not be written", len(items))
                    return []
            else:
                if failures:
                    log.warning("the outbox can be written again after %d failures", failures)
                return numbered

    def _hear(self) -> None:
        heard = self._ear.take()
        self._stored |= heard.stored
        if heard.connected:
            log.info("connected to the broker at %s as %s", self.wire.address.url, self.driver_id)
            self._say_hello()
            self._go_back_all()
        if heard.recorder is not None:
            self._new_recorder(heard.recorder, heard.spoke)
        for name in list(heard.stored if heard.recorder is None else self._stored):
            self._progress(name)

    def _say_hello(self) -> None:
        now_s = seconds(self._clock.now_us())
        topic = self._topics.drivers(self.driver_id)
        self.wire.publish_json(topic, {"online": True, "t": now_s}, retain=True)
        self._documents.repeat_states(self.wire)

    def _new_recorder(self, recorder: dict[str, Any], spoke: bool) -> None:
        """A recorder's word; `spoke` when it was said just now, which it does on each connect:
        what was sent while it was away from the broker has not reached it."""
        before, self._recorder = self._recorder, recorder
        log_id = recorder.get("log")
        if not recorder.get("online"):
            if before.get("online"):
                log.warning("the recorder is offline; readings wait in the outbox")
            return
        if isinstance(log_id, str) and log_id and log_id != self._outbox.log_id:
            self._outbox.new_log(log_id)
            for lane in self._outbox.lanes.values():
                self._courses[lane.instrument] = Course(lane)
        changed = any(before.get(key) != recorder.get(key) for key in ("id", "log", "online"))
        if changed:
            log.info("the recorder %s is online with the log %s", recorder.get("id"), log_id)
        if changed or spoke:
            self._go_back_all()

    def _go_back_all(self) -> None:
        for course in self._courses.values():
            course.go_back()

    def _stored_in_log(self, name: str) -> tuple[int, int] | None:
        """(sequence, number) stored in the present log, or None where nothing valid was said."""
        document = self._stored.get(name, {})
        if document.get("boot") != self.boot or document.get("log") != self._outbox.log_id:
            return None
        if document.get("log") != self._recorder.get("log"):
            return None
        seq, number = document.get("seq"), document.get("gap")
        if not isinstance(seq, int):
            return None
        return seq, number if isinstance(number, int) else 0

    def _progress(self, name: str) -> None:
        lane = self._outbox.lanes.get(name)
        found = self._stored_in_log(name)
        if lane is None or found is None:
            return
        seq, number = found
        if seq >= lane.next_seq:
            self._start_anew(name, seq, lane.next_seq - 1)
            return
        course = self._course(lane)
        if course.stored(seq, number):
            self._outbox.note_stored(name, course.stored_seq, course.stored_number)

    def _start_anew(self, name: str, stored_seq: int, numbered_seq: int) -> None:
        """What is numbered here now would be taken for what the log has: number it anew."""
        self._outbox.start_anew()
        self.boot = self._outbox.boot
        self._courses.clear()
        log.error(
            "%s: the log has readings up to %d, the outbox numbered only %d: %s is an old copy. "
            "Everything in it is sent again under the new boot id %s",
            name, stored_seq, numbered_seq, self._outbox.path, self.boot,
        )  # fmt: skip

    def _course(self, lane: Lane) -> Course:
        if lane.instrument not in self._courses:
            self._courses[lane.instrument] = Course(lane)
        return self._courses[lane.instrument]

    def _send(self, fresh: list[Reading]) -> bool:
        if not self.wire.connected.is_set() or not self._documents.send(self.wire):
            return False
        more = False
        for lane in list(self._outbox.lanes.values()):
            course = self._course(lane)
            self._check_progress(lane, course)
            more = self._send_lane(self._outbox.lanes[lane.instrument], course) or more
        self._send_live(fresh)
        return more

    def _check_progress(self, lane: Lane, course: Course) -> None:
        if not course.is_waiting or not self._recorder.get("online"):
            course.progress_s = time.monotonic()
            return
        if time.monotonic() - course.progress_s < self._stall_s:
            return
        course.stalls += 1
        log.warning(
            "%s: no progress for %.0f s; sending again from reading %d",
            lane.instrument, self._stall_s, course.stored_seq + 1,
        )  # fmt: skip
        known = self._stored_in_log(lane.instrument)
        known_seq = 0 if known is None else known[0]
        if course.stalls >= STALLS_TO_BELIEVE and self._lacks(lane, known_seq):
            self._outbox.log_lost(lane.instrument, known_seq)
            course.stored_number = 0
            course.stalls = 0
        course.go_back()

    def _lacks(self, lane: Lane, known_seq: int) -> bool:
        """True when the log ends before what was dropped and no waiting gap tells it so."""
        told = any(
            getattr(notice.content, "last", None) == lane.dropped_seq for notice in lane.notices
        )
        return known_seq < lane.dropped_seq and not told

    def _send_lane(self, lane: Lane, course: Course) -> bool:
        course.sent_seq = max(course.sent_seq, lane.dropped_seq)
        course.stored_seq = max(course.stored_seq, lane.dropped_seq)
        waiting = [n for n in lane.notices if n.number > course.sent_number]
        for _ in range(PACKS_A_TURN):
            room = WINDOW - (course.sent_seq - course.stored_seq)
            # Notices go in the order of their numbers, each before the reading it precedes.
            before = min((n.before_seq for n in waiting), default=lane.next_seq)
            if waiting and before <= course.sent_seq + 1:
                notice = waiting[0]
                document = notice.content.document(self.boot, notice.number)
                if not self.wire.publish_json(self._topics.gaps(lane.instrument), document):
                    return False
                course.sent_number = waiting.pop(0).number
                continue
            limit = min(READINGS_A_PACK, room, before - 1 - course.sent_seq)
            if limit <= 0:
                return False
            readings = self._outbox.read(lane.instrument, course.sent_seq, limit)
            if not self._publish(readings):
                return False
            course.sent_seq += len(readings)
        return True

    def _publish(self, readings: list[Reading]) -> bool:
        topic = self._topics.readings(readings[0].instrument)
        return self.wire.publish(topic, senml.pack(readings))

    def _send_live(self, fresh: list[Reading]) -> None:
        """Readings whose turn in the order has not come yet are sent at once as well: the page
        shows them, and the recorder passes over what is ahead."""
        ahead: dict[str, list[Reading]] = {}
        for reading in fresh:
            course = self._courses[reading.instrument]
            if reading.seq is not None and reading.seq > course.sent_seq:
                ahead.setdefault(reading.instrument, []).append(reading)
        for readings in ahead.values():
            self._publish(readings[-READINGS_A_PACK:])

    def _drain(self) -> None:
        until = time.monotonic() + DRAIN_S
        while items := self._take(0.0):
            self._commit(items)
        while time.monotonic() < until:
            self._hear()
            if not self._send([]):
                break
        if self._outbox.has_stored:
            with contextlib.suppress(sqlite3.OperationalError):
                self._outbox.commit([])
