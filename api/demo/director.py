"""The director of the demo: starts all pieces, passes the person's marks on, tells what happens."""

from __future__ import annotations

import logging
import queue
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from api.demo.kitchen import Kitchen
from api.demo.settings import (
    KITCHEN,
    TITLE,
    plan_document,
    write_config,
    write_own_ingredients,
)
from api.marks import MarkSender, NotStored
from api.pieces import piece_arguments
from api.supervisor import Supervisor
from drivers import config as configuration
from drivers.clock import KitchenClock
from drivers.mqtt import Wire
from drivers.reading import MICROSECOND, seconds
from drivers.topics import Topics
from logger import broker
from logger.store import EventRow, Reader, StoreError

log = logging.getLogger(__name__)

# Headless: as fast as the pieces keep up. The lag is the real time by which the store is behind.
FASTEST = 120.0
SLOWEST = 20.0
LAG_TOLERATED_S = 0.8
MARK_TIMEOUT_S = 60.0


class Director:
    """One demo, from nothing to a closed batch.

    Args:
        folder: for store, outbox, ports and logs.
        headless: no page, as fast as the pieces keep up.
        port: of the page; 0 picks a free one.
        broker_url: ``auto``, ``mosquitto``, ``embedded`` or an address.
        tell: called with a line for the terminal.
        tell_event: called with each event of the batch.
        at_end: called with the store and the batch when it is closed.
        stay: go on serving the page after the end, until told to stop.
    """

    def __init__(
        self,
        folder: Path,
        *,
        headless: bool,
        tell: Callable[[str], None],
        port: int = 0,
        broker_url: str = "auto",
        earlier: int = 20,
        random: int = 1,
        tell_event: Callable[[EventRow], None] = lambda _row: None,
        at_end: Callable[[Reader, str], None] = lambda _reader, _batch: None,
        stay: bool = False,
    ) -> None:
        self.folder = folder
        self.headless = headless
        self.stop = threading.Event()
        self._tell = tell
        self._tell_event = tell_event
        self._at_end = at_end
        self._stay = stay
        self._port = port
        self._broker_url = broker_url
        self._earlier = earlier
        self._random = random
        self.batch: str | None = None
        self.page: str | None = None
        self.frames: dict[str, Any] | None = None
        self._place = (0, 0)

    def run(self, on_page: Callable[[str], None] = lambda _address: None) -> bool:
        """Run the whole batch; True when it came to its end, False when it was stopped before."""
        self.folder.mkdir(parents=True, exist_ok=True)
        kitchen = Kitchen(
            self.folder,
            random=self._random,
            baking_speed=FASTEST if self.headless else 60.0,
            paced=self.headless,
        )
        running: broker.RunningBroker | None = None
        supervisor = Supervisor(self.folder / "logs")
        try:
            (self.folder / "logs").mkdir(exist_ok=True)
            ports = kitchen.ready()
            clock = KitchenClock(kitchen.clock_file)
            write_own_ingredients(self.folder)
            config_file = self.folder / "coolcrumb.toml"
            write_config(
                config_file, ports, kitchen.clock_file, port=self._port, broker=self._broker_url
            )
            config = configuration.load(config_file)
            self._remember_earlier(clock)
            running = broker.start(config.broker, self.folder)
            url = running.address.url
            more = ("--clock", str(kitchen.clock_file))
            supervisor.add(
                "recorder",
                *piece_arguments("logger.recorder", config_file, url, self.folder, *more),
            )
            supervisor.add(
                "drivers", *piece_arguments("drivers.daemon", config_file, url, self.folder, *more)
            )
            if not self.headless:
                supervisor.add(
                    "page", *piece_arguments("api.serve", config_file, url, self.folder, *more)
                )
                self.page = self._wait_for_page()
                on_page(self.page)
            self._tell(f"{TITLE}: broker {running.kind}, data in {self.folder}")
            return self._play(kitchen, clock, running)
        finally:
            kitchen.stop()
            supervisor.stop()
            if running is not None:
                running.stop()

    def _remember_earlier(self, clock: KitchenClock) -> None:
        """Put the earlier bakes into the store, so that the oven's drift has something to show."""
        from logger.conclusions import start_from
        from logger.importing import import_session
        from logger.session import entries, lines_of
        from logger.store import Store
        from simulators.earlier import write_earlier_bakes

        if self._earlier == 0:
            return
        began = time.monotonic()
        plan = plan_document("earlier")
        before_us = clock.now_us() - 3600 * MICROSECOND
        paths = write_earlier_bakes(
            self.folder / "earlier", self._earlier, before_us=before_us, random=self._random
        )
        store = Store(self.folder)
        try:
            for path in paths:
                batch = f"bake-{path.stem}"
                if store.has_batch(batch):
                    continue
                found = entries(lines_of(path), lambda line, why: log.warning("%s: %s", line, why))
                import_session(store, found, plan, batch, start_batch=start_from)
        finally:
            store.close()
        took_s = time.monotonic() - began
        self._tell(f"{len(paths)} earlier bakes of this oven are in the store ({took_s:.1f} s)")

    def _wait_for_page(self) -> str:
        """Address of the page, once it answers."""
        deadline = time.monotonic() + 30
        output = self.folder / "logs" / "page.log"
        while time.monotonic() < deadline and not self.stop.is_set():
            if output.exists():
                for line in output.read_text("utf-8", "replace").splitlines():
                    if line.startswith("page http"):
                        address = line.split()[1]
                        try:
                            if answers_at(address):
                                return address
                        except OSError:
                            break
            time.sleep(0.1)
        raise RuntimeError(f"the page did not start; see {output}")

    def _play(self, kitchen: Kitchen, clock: KitchenClock, running: broker.RunningBroker) -> bool:
        reader = Reader(self.folder)
        wire = Wire(running.address, f"coolcrumb-demo-{KITCHEN}")
        wire.start()
        sender = MarkSender(wire, Topics(KITCHEN), reader)
        try:
            self._place = _last_place(reader)
            self._open(sender, clock)
            kitchen.go()
            ended = self._follow(kitchen, clock, reader, sender)
            if ended:
                self._finish(clock, reader, sender)
            return ended
        finally:
            wire.stop()
            reader.close()

    def _send(self, sender: MarkSender, document: dict[str, Any]) -> None:
        sender.send(document, timeout_s=MARK_TIMEOUT_S, given_up=self.stop.is_set)

    def _open(self, sender: MarkSender, clock: KitchenClock) -> None:
        now = seconds(clock.now_us())
        plan = plan_document()
        self.batch = time.strftime("pear-ginger-%Y-%m-%d-%H%M", time.gmtime(now))
        self._send(
            sender,
            {
                "mark": "open batch",
                "t": now,
                "batch": self.batch,
                "plan": plan["plan"],
                "formulas": plan["formulas"],
            },
        )

    def _follow(
        self, kitchen: Kitchen, clock: KitchenClock, reader: Reader, sender: MarkSender
    ) -> bool:
        """Pass the kitchen's marks on and tell events, until the kitchen's script ends."""
        marks: queue.Queue[dict[str, Any] | None] = queue.Queue()
        failed: list[BaseException] = []

        def pass_on() -> None:
            while (mark := marks.get()) is not None:
                try:
                    self._send(sender, {**mark, "batch": self.batch})
                except (NotStored, ValueError) as error:
                    failed.append(error)
                    self.stop.set()
                    return

        thread = threading.Thread(target=pass_on, name="marks")
        thread.start()
        pace, looked = FASTEST, 0.0
        try:
            while not self.stop.is_set():
                try:
                    line = kitchen.lines.get(timeout=0.1)
                except queue.Empty:
                    line = {}
                if line is None:
                    return False
                if "mark" in line:
                    marks.put(line)
                elif "stage" in line:
                    self._tell(f"— {line['stage']}")
                elif "frames" in line:
                    self.frames = line["frames"]
                    return True
                self._tell_news(reader)
                now = time.monotonic()
                if self.headless and now - looked > 0.3:
                    looked = now
                    pace = self._paced(kitchen, clock, reader, pace)
            return False
        finally:
            marks.put(None)
            thread.join()
            if failed:
                raise failed[0]

    def _tell_news(self, reader: Reader) -> None:
        try:
            rows = reader.events_after(*self._place)
        except StoreError:
            return  # busy for a moment; the next look tells
        for row in rows:
            self._tell_event(row)
            self._place = (row.pos, row.n)

    @staticmethod
    def _paced(kitchen: Kitchen, clock: KitchenClock, reader: Reader, pace: float) -> float:
        """Slower when the store falls behind kitchen time, faster when it keeps up."""
        newest = max((reading.t_us for reading in reader.latest()), default=0)
        speed = max(clock.speed(), 1.0)
        # Slow probes speak every five kitchen seconds: that much is no lag.
        lag_s = (seconds(clock.now_us() - newest) - 5.0) / speed
        pace = max(SLOWEST, pace * 0.6) if lag_s > LAG_TOLERATED_S else min(FASTEST, pace * 1.2)
        kitchen.set_pace(pace)
        return pace

    def _finish(self, clock: KitchenClock, reader: Reader, sender: MarkSender) -> None:
        """Wait until all that was read is stored, then close the batch."""
        assert self.batch is not None
        deadline = time.monotonic() + 15
        while time.monotonic() < deadline and not self.stop.is_set():
            newest = max((reading.t_us for reading in reader.latest()), default=0)
            time.sleep(0.5)
            if max((reading.t_us for reading in reader.latest()), default=0) == newest:
                break
        self._send(
            sender, {"mark": "close batch", "t": seconds(clock.now_us()), "batch": self.batch}
        )
        self._tell_news(reader)
        self._at_end(reader, self.batch)
        if self._stay and self.page is not None:
            self._tell(f"The page stays at {self.page} until Ctrl-C.")
            self.stop.wait()


def answers_at(address: str) -> bool:
    """Whether the page's health answers."""
    import urllib.request

    with urllib.request.urlopen(f"{address}healthz", timeout=2) as answer:
        return bool(answer.status == 200)


def _last_place(reader: Reader) -> tuple[int, int]:
    """Place of the last event; the beginning where the store is not there yet."""
    try:
        return reader.last_event_place()
    except StoreError:
        return 0, 0
