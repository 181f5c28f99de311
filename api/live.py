"""The live side: one producer wakes on the wire and polls the store; each page has a small mailbox.

Stored events carry their place in the log (``pos.n``) as id, and nothing else does: a page that
comes back says the last id it saw and gets exactly what it missed. Readings come straight from the
wire, the newest per channel, at the page's own pace.
"""

from __future__ import annotations

import asyncio
import json
import logging
import threading
import time
from collections.abc import AsyncIterator, Callable
from typing import Any

from fastapi.sse import ServerSentEvent

from api.mailbox import Mailbox, Place, place_of, place_text
from api.views import NoSuchBatch, Views, nothing_open
from drivers import senml
from drivers.clock import Clock
from drivers.reading import MICROSECOND, Reading, ReadingRefused, seconds
from logger.document import FileError
from logger.store import EventRow, Reader, StoreError, StoreNotThere

log = logging.getLogger(__name__)

POLL_S = 0.1
STATE_EVERY_S = 0.2
STATE_ANYHOW_S = 1.0
CLOCK_EVERY_S = 4.0
FROZEN_S = 15.0
# A closed batch stays on the page until the next one, but not into another day.
STAYS_US = 12 * 3600 * MICROSECOND
PAGE = 500


def reading_document(reading: Reading) -> dict[str, Any]:
    """A live reading as the stream and /api/instruments give it."""
    return {
        "channel": reading.name,
        "t": seconds(reading.t_us),
        "value": reading.value,
        "unit": reading.unit,
        "state": reading.state,
        "stable": reading.stable,
        "net": reading.net,
        "division": reading.division,
    }


class Live:
    """The producer and the mailboxes it fills.

    Args:
        reader, views, clock: the log, its batches, kitchen time.
        drop: closes a peer's connection at once (a page that does not read cannot be told).
    """

    def __init__(self, reader: Reader, views: Views, clock: Clock) -> None:
        self._reader = reader
        self._views = views
        self._clock = clock
        self.drop: Callable[[tuple[str, int]], None] = lambda _address: None
        self.latest: dict[str, Reading] = {}
        self.head: Place = (0, 0)
        self.current: str | None = None
        self._mailboxes: set[Mailbox] = set()
        self._wanted: frozenset[str | None] = frozenset()
        self._states: dict[str | None, str] = {}
        self._scale_moved = False
        self._loop: asyncio.AbstractEventLoop | None = None
        self._stop = threading.Event()
        self._wake = threading.Event()
        self._thread = threading.Thread(target=self._run, name="live")
        self._stalled = False
        self.ended = False

    # -- life ----------------------------------------------------------------------------------

    def start(self) -> None:
        """Begin, on the running event loop."""
        self._loop = asyncio.get_running_loop()
        try:
            self.latest = {reading.name: reading for reading in self._reader.latest()}
            self.head = self._reader.last_event_place()
        except StoreError as error:
            log.warning("the log is not there yet: %s", error)
        self._thread.start()

    def stop(self) -> None:
        """End the producer; may be repeated."""
        self._stop.set()
        self._wake.set()
        if self._thread.ident is not None:
            self._thread.join(2.0)

    def end_streams(self) -> None:
        """Close every stream (event loop's thread): the server is about to stop."""
        self.ended = True
        for mailbox in self._mailboxes:
            mailbox.close("the server stops")

    def drop_streams(self) -> None:
        """Cut the connections of those that did not read their end."""
        for mailbox in list(self._mailboxes):
            if mailbox.address is not None:
                self.drop(mailbox.address)

    @property
    def alive(self) -> bool:
        return self._thread.is_alive()

    @property
    def streams(self) -> int:
        """How many pages are connected."""
        return len(self._mailboxes)

    # -- from the wire (network thread) --------------------------------------------------------

    def on_readings(self, _topic: str, payload: bytes, retained: bool) -> None:
        """Live readings; a retained one is yesterday's and not live."""
        if retained:
            log.warning("a retained reading is not taken as live")
            return
        try:
            readings = senml.parse(payload, self._clock.now_us())
        except ReadingRefused as refused:
            log.info("a live reading was refused: %s", refused.reason)
            return
        fresh: list[tuple[str, str]] = []
        for reading in readings:
            known = self.latest.get(reading.name)
            if known is not None and reading.t_us <= known.t_us:
                continue
            self.latest[reading.name] = reading
            self._scale_moved = self._scale_moved or reading.unit == "kg"
            fresh.append((reading.name, json.dumps(reading_document(reading), allow_nan=False)))
        if fresh:
            self._say(lambda: self._fan_readings(fresh))

    def on_events(self, _topic: str, _payload: bytes, _retained: bool) -> None:
        """The courtesy copy of an event only wakes the producer: the store is what counts."""
        self._wake.set()

    def _say(self, call: Callable[[], None]) -> None:
        if self._loop is not None and not self._loop.is_closed():
            try:
                self._loop.call_soon_threadsafe(call)
            except RuntimeError:  # the loop closed between the two lines
                log.debug("the event loop has ended")

    def _fan_readings(self, fresh: list[tuple[str, str]]) -> None:
        for mailbox in self._mailboxes:
            for name, body in fresh:
                mailbox.put(name, "reading", body)

    # -- the producer (its own thread) ---------------------------------------------------------

    def _run(self) -> None:
        head = self.head
        state_at = 0.0
        clock_at = 0.0
        while not self._stop.is_set():
            self._wake.wait(POLL_S)
            self._wake.clear()
            if self._stop.is_set():
                return
            now = time.monotonic()
            try:
                head, moved = self._events_after(head)
                due = moved or self._scale_moved
                if now - state_at >= (STATE_EVERY_S if due else STATE_ANYHOW_S) or (
                    self._wanted - self._states.keys()
                ):
                    state_at = now
                    self._scale_moved = False
                    self._make_states()
                elif moved:
                    self._scale_moved = True  # said with the next state
                if self._stalled:
                    log.info("the log can be read again")
                    self._stalled = False
            except StoreNotThere:
                self._states.setdefault(None, "")
                self._publish_state(None, nothing_open(self._views.zone_name()))
            except (StoreError, OSError) as error:
                if not self._stalled:
                    log.warning("the log cannot be read: %s", error)
                self._stalled = True
            except Exception:
                # One bad batch must not end the live side; it is said, and tried again.
                log.exception("the live side failed once")
                self._stop.wait(1.0)
            if now - clock_at >= CLOCK_EVERY_S:
                clock_at = now
                self._say(self._fan_clock)

    def _events_after(self, head: Place) -> tuple[Place, bool]:
        moved = False
        while True:
            rows = self._reader.events_after(*head, limit=PAGE)
            if rows:
                moved = True
                head = (rows[-1].pos, rows[-1].n)
                self._say(lambda rows=rows: self._fan_events(rows))  # type: ignore[misc]
            if len(rows) < PAGE:
                return head, moved

    def _make_states(self) -> None:
        open_batches = self._reader.open_batches()
        newest = open_batches[-1].id if open_batches else None
        if newest is None and self.current is not None:
            newest = self.current  # a batch just closed stays in sight
        if newest is None and (rows := self._reader.batches(1)):
            closed_us = rows[0].closed_us
            yesterday_us = self._clock.now_us() - STAYS_US
            newest = rows[0].id if closed_us is not None and closed_us > yesterday_us else None
        self.current = newest
        for gone in self._states.keys() - self._wanted - {None}:
            del self._states[gone]
        for wanted in self._wanted | {None}:
            batch = newest if wanted is None else wanted
            try:
                if batch is None:
                    document = nothing_open(self._views.zone_name())
                else:
                    document = self._views.state(batch, dict(self.latest))
            except NoSuchBatch:
                continue
            except FileError as error:
                log.warning("the plan of %s cannot be read: %s", batch, error)
                continue
            self._publish_state(wanted, document)

    def _publish_state(self, wanted: str | None, document: dict[str, Any]) -> None:
        text = json.dumps(document, allow_nan=False, separators=(",", ":"))
        if self._states.get(wanted) != text:
            self._states[wanted] = text
            self._say(lambda: self._fan_state(wanted, text))

    # -- to the pages (event loop's thread) ----------------------------------------------------

    def _fan_events(self, rows: list[EventRow]) -> None:
        self.head = (rows[-1].pos, rows[-1].n)
        for mailbox in self._mailboxes:
            for row in rows:
                if not mailbox.closed:
                    mailbox.put_event((row.pos, row.n), row.body)

    def _fan_state(self, wanted: str | None, text: str) -> None:
        for mailbox in self._mailboxes:
            if mailbox.batch == wanted:
                mailbox.put("state", "state", text)

    def _fan_clock(self) -> None:
        text = self.clock_text()
        now = time.monotonic()
        for mailbox in list(self._mailboxes):
            mailbox.put("clock", "clock", text)
            frozen = mailbox.waiting_since is not None and now - mailbox.waiting_since > FROZEN_S
            if frozen or mailbox.closed:
                mailbox.close("it does not read")
                if mailbox.address is not None:
                    log.info("a page at %s is dropped: %s", mailbox.address, mailbox.closed)
                    self.drop(mailbox.address)

    def clock_text(self) -> str:
        """The ping: kitchen time now, and how fast it runs."""
        return json.dumps({"now": seconds(self._clock.now_us()), "speed": self._clock.speed()})

    async def stream(
        self, batch: str | None, last_id: str | None, address: tuple[str, int] | None
    ) -> AsyncIterator[ServerSentEvent]:
        """The messages for one page, from after `last_id` on (from now on without one)."""
        if self.ended:
            return
        mailbox = Mailbox(batch, address)
        self._mailboxes.add(mailbox)
        self._wanted = frozenset(m.batch for m in self._mailboxes)
        self._wake.set()
        try:
            cursor = live_from = self.head
            # Who begins now is told the place of now: coming back, nothing since then is missing.
            now_id = None if last_id is not None else place_text(live_from)
            yield ServerSentEvent(event="clock", id=now_id, raw_data=self.clock_text(), retry=1000)
            if last_id is not None:
                known = await asyncio.to_thread(self._known, last_id)
                if known is None:
                    reason = f"The id {last_id!r} is not in this log; what stands now follows."
                    yield ServerSentEvent(
                        event="reset",
                        id=place_text(live_from),
                        raw_data=json.dumps({"reason": reason}),
                    )
                else:
                    cursor = known
            if text := self._states.get(batch):
                mailbox.put("state", "state", text)
            for name, reading in list(self.latest.items()):
                mailbox.put(name, "reading", json.dumps(reading_document(reading), allow_nan=False))
            while cursor < live_from:
                rows = await asyncio.to_thread(self._reader.events_after, *cursor, limit=PAGE)
                for row in rows:
                    if (row.pos, row.n) > live_from:
                        break
                    cursor = (row.pos, row.n)
                    yield ServerSentEvent(event="event", id=place_text(cursor), raw_data=row.body)
                    mailbox.waiting_since = None  # it reads: what waits meanwhile is not its fault
                if not rows or mailbox.closed:
                    break
            while not mailbox.closed:
                await mailbox.wake.wait()
                events, newest = mailbox.take()
                for place, body in events:
                    if place > cursor:
                        cursor = place
                        yield ServerSentEvent(event="event", id=place_text(place), raw_data=body)
                for kind, body in newest:
                    yield ServerSentEvent(event=kind, raw_data=body)
        finally:
            self._mailboxes.discard(mailbox)
            self._wanted = frozenset(m.batch for m in self._mailboxes)

    def _known(self, text: str) -> Place | None:
        place = place_of(text)
        if place is None or place > (2**62, 0):
            return None
        if place == (0, 0):
            return place
        try:
            rows = self._reader.events_after(place[0], place[1] - 1, limit=1)
        except StoreError:
            return None
        return place if rows and (rows[0].pos, rows[0].n) == place else None
