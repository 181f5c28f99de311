"""An instrument: a port and a parser make a stream of readings, with reconnect, on one thread.

The thread opens the port, owns it and closes it. When the port is lost it tries again by the
lasting path, and declares the time without readings before the first new one.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any, Protocol

from drivers.clock import Clock, Stamper
from drivers.commands import Commands
from drivers.config import InstrumentConfig
from drivers.frames import FrameEvent, Garbage, Overflow, Parser, TemperatureFrame, WeightFrame
from drivers.frames import readings_of as readings_of_frame
from drivers.lanes import Item
from drivers.notices import Gap, Jump
from drivers.polling import Ask, Polling
from drivers.ports import Port, PortError
from drivers.reading import Channel, Reading, ReadingRefused, seconds

log = logging.getLogger(__name__)

BACK_OFF_S = 0.2
LONGEST_BACK_OFF_S = 5.0
# However fast kitchen time runs, an instrument is not called silent before this much real time.
SHORTEST_SILENCE_S = 1.0
# Where no sign begins a frame, the first one after opening may have lost its head unseen.
WITHOUT_BEGINNING = {"value-unit", "text-probe", "described"}
COMPLAIN_EVERY_S = 60.0


class Sink(Protocol):
    """Where an instrument's records go; `drivers.publisher.Publisher` is one."""

    driver_id: str

    def put(self, items: Sequence[Item]) -> bool:
        """All in order, or False when there is no room."""
        ...

    def announce(self, instrument: str, document: dict[str, Any]) -> None:
        """A new state."""
        ...

    def answer(self, instrument: str, document: dict[str, Any]) -> None:
        """The outcome of a command."""
        ...


class _Silent(Exception):
    """Nothing readable has come for too long: no error, the port is opened once more."""


class Instrument:
    """One configured instrument at work.

    Args:
        config: its settings.
        open_port: opens the port by its lasting path; raises PortError.
        new_parser: gives a fresh parser, one for each opening.
        sink: where readings, gaps, states and answers go.
        clock: kitchen time.
        division_kg: a scale's division where the configuration gives it.
        last_us: time of its last reading that an earlier process committed; None for the first.
        on_death: called with the exception that ended the thread, if one did.

    Attributes:
        state: ``online``, ``silent``, ``faulty`` or ``offline``.
        openings: how often its port was opened.
        discarded: frames thrown away because they may have been cut or came too late.
        garbage: stretches of bytes that were no frame.
        refused: readings that cannot be true.
    """

    def __init__(
        self,
        config: InstrumentConfig,
        open_port: Callable[[], Port],
        new_parser: Callable[[], Parser],
        sink: Sink,
        clock: Clock,
        *,
        division_kg: float | None = None,
        last_us: int | None = None,
        on_death: Callable[[BaseException], None] | None = None,
    ) -> None:
        self.config = config
        self.name = config.name
        self.state = ""
        self.openings = 0
        self.discarded = 0
        self.garbage = 0
        self.refused = 0
        self._open_port = open_port
        self._new_parser = new_parser
        self._sink = sink
        self._clock = clock
        self._stamper = Stamper(clock, after_us=last_us or 0)
        self._division_kg = division_kg
        self._last_us = last_us
        self._gap_reason = "" if last_us is None else "the drivers were not running"
        self._jumps: list[Jump] = []
        self._channels: dict[str, Channel] = {}
        self._since_us = 0
        self._reason = ""
        self._commands = Commands(config.family, self._answer)
        self._on_death = on_death
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name=config.name, daemon=False)
        # Quietness since the last reading: kitchen and real seconds, and whether bytes came.
        self._quiet_kitchen_s = 0.0
        self._quiet_s = 0.0
        self._looked_s = time.monotonic()
        self._noise = False
        self._reopened = False
        self._complained_s = -COMPLAIN_EVERY_S

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        """Ask the thread to end; it closes its port itself."""
        self._stopping.set()

    def join(self, timeout_s: float) -> bool:
        """Wait for the thread's end; False when it has not come."""
        if self._thread.ident is not None:
            self._thread.join(timeout_s)
        return not self._thread.is_alive()

    @property
    def alive(self) -> bool:
        return self._thread.is_alive()

    def command(self, document: dict[str, Any]) -> None:
        """Take a command from the wire; never blocks."""
        self._commands.put(document)

    # The thread.

    def _run(self) -> None:
        try:
            self._reconnect()
            self._commands.refuse_all("the drivers are stopping")
            self._become("offline", "the drivers were stopped")
        except BaseException as error:
            log.exception("%s: its thread ended", self.name)
            if self._on_death is not None:
                self._on_death(error)

    def _reconnect(self) -> None:
        back_off_s = BACK_OFF_S
        while not self._stopping.is_set():
            before_us = self._last_us
            try:
                with self._open_port() as port:
                    self.openings += 1
                    log.info("%s: opened %s", self.name, self.config.port)
                    self._talk(port)
            except _Silent:
                reason = f"{self.state}: {self._reason}"
            except PortError as error:
                reason = str(error)
                self._become("offline", reason)
            else:
                return  # told to stop
            self._gap_reason = self._gap_reason or reason
            self._commands.refuse_all(f"the instrument is {self.state}: {reason}")
            if self._last_us != before_us:
                back_off_s = BACK_OFF_S
            self._stopping.wait(back_off_s)
            back_off_s = min(2 * back_off_s, LONGEST_BACK_OFF_S)

    def _talk(self, port: Port) -> None:
        """Read and write until told to stop, or PortLost, or silence ends it."""
        self._listen_anew(time.monotonic())
        parser = self._new_parser()
        polling = self._polling(parser)
        if polling is None:
            self._start_frames(port, parser)
        doubtful = polling is None and self.config.family in WITHOUT_BEGINNING
        first = True
        while not self._stopping.is_set():
            if polling is not None:
                parser = self._ask(port, parser, polling)
            if payload := self._commands.due(parser, time.monotonic()):
                port.write(payload)
            piece = port.read()
            now_s = time.monotonic()
            if first:
                # After a pause on the line a frame begins at its beginning.
                doubtful, first = doubtful and bool(piece), False
            frames: list[FrameEvent] = []
            for event in parser.feed(piece):
                if self._commands.hear(event) and polling is None:
                    self._start_frames(port, parser)
                if isinstance(event, WeightFrame | TemperatureFrame):
                    if doubtful or (polling is not None and not polling.takes_frame(now_s)):
                        self.discarded += 1
                        doubtful = False
                    else:
                        frames.append(event)
                else:
                    # What was cut has shown itself as noise; the next frame is whole.
                    doubtful = doubtful and not isinstance(event, Garbage)
                    self._count(event, now_s)
            self._emit(frames)
            if self._commands.settle(now_s) and polling is None:
                self._start_frames(port, parser)
            if self._watch(now_s, bool(piece), bool(frames)) and polling is None:
                self._start_frames(port, parser)

    def _polling(self, parser: Parser) -> Polling | None:
        if self.config.mode != "polled":
            return None
        return Polling(self.config.poll_s) if parser.poll() is not None else None

    def _start_frames(self, port: Port, parser: Parser) -> None:
        """A command ends a repeat (SMA SCP-0499), and so does losing power: ask for it again."""
        if payload := parser.start_continuous():
            port.write(payload)

    def _ask(self, port: Port, parser: Parser, polling: Polling) -> Parser:
        what = polling.due(time.monotonic())
        if what is Ask.EMPTY_THEN_QUESTION:
            port.discard_input()
            parser = self._new_parser()
        if what is not Ask.NOTHING and (question := parser.poll()):
            port.write(question)
        return parser

    def _emit(self, frames: list[FrameEvent]) -> None:
        batch: list[Reading] = []
        for frame in frames:
            t_us = self._stamp()
            for reading in self._readings(frame, t_us):
                try:
                    batch.append(reading.checked())
                except ReadingRefused as refused:
                    self.refused += 1
                    self._complain(f"a reading was refused: {refused.reason}")
        if not batch:
            return
        self._learn(batch)
        items: list[Item] = []
        if self._gap_reason and self._last_us is not None:
            t_us = batch[0].t_us
            items.append(Gap(self.name, None, None, self._last_us, t_us, self._gap_reason))
        items += self._jumps
        items += batch
        if self._sink.put(items):
            self._last_us = batch[-1].t_us
            self._gap_reason = ""
            self._jumps.clear()
        else:
            self._gap_reason = self._gap_reason or "the disk did not keep up"
            self._complain("the disk does not keep up; readings are lost and declared missing")

    def _readings(self, frame: FrameEvent, t_us: int) -> list[Reading]:
        channel = self.config.channel
        if isinstance(frame, TemperatureFrame) and len(frame.values) != 1:
            channel = None
        found = readings_of_frame(frame, self.name, t_us, channel, self.config.channels)
        if self._division_kg is None:
            return found
        return [
            replace(reading, division=self._division_kg)
            if reading.unit == "kg" and reading.division is None
            else reading
            for reading in found
        ]

    def _stamp(self) -> int:
        t_us, jump_us = self._stamper.stamp()
        if jump_us is not None:
            log.warning("%s: the clock jumped by %.3f s", self.name, jump_us / 1e6)
            self._jumps.append(Jump(self.name, t_us, jump_us))
        return t_us

    def _count(self, event: FrameEvent, now_s: float) -> None:
        if isinstance(event, Garbage | Overflow):
            self.garbage += 1
            if now_s - self._complained_s >= COMPLAIN_EVERY_S:
                why = event.reason if isinstance(event, Garbage) else "no frame ended"
                self._complain(f"bytes that are no frame ({why}): {event.data[:40]!r}")

    def _complain(self, what: str) -> None:
        """One line a minute; the counts tell the rest."""
        now_s = time.monotonic()
        if now_s - self._complained_s >= COMPLAIN_EVERY_S:
            self._complained_s = now_s
            log.warning(
                "%s: %s (so far: %d stretches of noise, %d frames discarded, %d readings refused)",
                self.name, what, self.garbage, self.discarded, self.refused,
            )  # fmt: skip

    # State.

    def _watch(self, now_s: float, bytes_came: bool, frames_came: bool) -> bool:
        """Say once when the instrument falls silent, and once when it is back.

        Returns:
            True each time another stretch of silence has passed.

        Raises:
            _Silent: the first time, so that the port is opened anew.
        """
        passed_s, self._looked_s = now_s - self._looked_s, now_s
        if frames_came:
            self._listen_anew(now_s)
            self._reopened = False
            self._become("online", "")
            return False
        self._quiet_kitchen_s += passed_s * self._clock.speed()
        self._quiet_s += passed_s
        self._noise = self._noise or bytes_came
        limit_s = self.config.silent_s
        if self._quiet_kitchen_s < limit_s or self._quiet_s < min(limit_s, SHORTEST_SILENCE_S):
            return False
        if self._noise:
            family = self.config.family
            self._become(
                "faulty", f"bytes but no frame of the family {family}; check the baud rate"
            )
        else:
            self._become("silent", f"nothing for {limit_s:g} s")
        self._listen_anew(now_s)
        if not self._reopened:
            self._reopened = True
            raise _Silent
        return True

    def _listen_anew(self, now_s: float) -> None:
        self._quiet_kitchen_s = self._quiet_s = 0.0
        self._noise = False
        self._looked_s = now_s

    def _learn(self, batch: list[Reading]) -> None:
        """Channels and their divisions come to be known with their first readings."""
        changed = False
        for reading in batch:
            known = self._channels.get(reading.channel)
            division = reading.division
            if known is not None and division is None:
                division = known.division
            accuracy_class = self.config.accuracy_class if reading.unit == "kg" else None
            now = Channel(reading.channel, reading.unit, division, accuracy_class)
            if now != known:
                self._channels[reading.channel] = now
                changed = True
        if changed and self.state == "online":
            self._announce(self._stamp())

    def _become(self, state: str, reason: str) -> None:
        if (state, reason) == (self.state, self._reason):
            return
        t_us = self._stamp()
        if state != self.state:
            self._since_us = t_us
            log.info("%s: %s%s", self.name, state, f" ({reason})" if reason else "")
        self.state, self._reason = state, reason
        self._announce(t_us)

    def _announce(self, t_us: int) -> None:
        document: dict[str, Any] = {
            "state": self.state,
            "t": seconds(t_us),
            "instrument": self.name,
            "since": seconds(self._since_us),
            "driver": self._sink.driver_id,
            "family": self.config.family,
            "channels": [
                {
                    "name": channel.name,
                    "unit": channel.unit,
                    "division": channel.division,
                    "class": channel.accuracy_class,
                }
                for channel in self._channels.values()
            ],
        }
        if self._reason:
            document["reason"] = self._reason
        self._sink.announce(self.name, document)

    def _answer(self, command_id: str, done: bool, text: str) -> None:
        document = {
            "answer": command_id,
            "t": seconds(self._clock.now_us()),
            "instrument": self.name,
            "done": done,
            "text": text,
        }
        self._sink.answer(self.name, document)
