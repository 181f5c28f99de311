"""The drivers process: instruments, outbox and broker, started and stopped in order.

python -m drivers.daemon --config FILE --broker URL --folder DIR [--clock FILE]
"""

from __future__ import annotations

import argparse
import logging
import signal
import sys
import threading
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from drivers import config as configuration
from drivers.catalogue import instruments
from drivers.clock import Clock, ClockFileError, KitchenClock, SystemClock
from drivers.config import Config, ConfigError
from drivers.instrument import Instrument
from drivers.mqtt import BrokerAddress
from drivers.outbox import Outbox, OutboxError
from drivers.publisher import Publisher
from drivers.topics import Topics

log = logging.getLogger(__name__)

OUTBOX_FILE = "outbox.sqlite"
LOOK_S = 0.2
# Of the five seconds in which the process ends in every state: instruments, then the drain.
INSTRUMENTS_END_S = 1.5


class ThreadDied(RuntimeError):
    """A thread of the drivers ended by itself; its own exception is the cause where there is one.

    Attributes:
        thread: its name.
    """

    def __init__(self, thread: str) -> None:
        super().__init__(f"the thread {thread!r} of the drivers ended; the process ends with it")
        self.thread = thread

    def __reduce__(self) -> tuple[type[ThreadDied], tuple[str]]:
        return (type(self), (self.thread,))


def run(
    config: Config,
    broker: BrokerAddress,
    stop: threading.Event,
    clock: Clock,
    *,
    folder: Path | None = None,
    beside: Path | None = None,
) -> None:
    """Run the configured instruments until `stop` is set.

    Args:
        config: the settings.
        broker: where to publish; it need not be there yet.
        stop: set by whoever wants the drivers to end.
        clock: kitchen time.
        folder: where the outbox lies; None for the configuration's.
        beside: folder of the configuration file, for relative paths in it.

    Raises:
        OutboxError: another drivers process uses the outbox, or it cannot be read.
        ConfigError: an instrument cannot be made of its settings.
        ThreadDied: a thread ended by itself.
    """
    place = folder or Path(config.folder or Path.home() / ".local" / "share" / "coolcrumb")
    place.mkdir(parents=True, exist_ok=True)
    dead: list[tuple[str, BaseException]] = []
    ended = threading.Event()

    def died(error: BaseException) -> None:
        dead.append((threading.current_thread().name, error))
        ended.set()

    outbox = Outbox(place / OUTBOX_FILE, config.outbox.readings)
    working: list[Instrument] = []
    by_name: dict[str, Instrument] = {}

    def command(document: dict[str, Any]) -> None:
        if instrument := by_name.get(document["instrument"]):
            instrument.command(document)

    publisher = Publisher(
        broker, Topics(config.kitchen), outbox, clock, on_command=command, on_death=died
    )
    try:
        working += instruments(config, publisher, clock, outbox.last_us, died, beside)
    except BaseException:
        outbox.close()
        raise
    by_name.update((instrument.name, instrument) for instrument in working)
    log.info("%d instruments, outbox %s, boot id %s", len(working), outbox.path, outbox.boot)
    try:
        publisher.start()
        for instrument in working:
            instrument.start()
        _watch(stop, ended, publisher, dead)
    finally:
        _end(working, publisher)
    if dead:
        thread, error = dead[0]
        raise ThreadDied(thread) from error


def _watch(
    stop: threading.Event,
    ended: threading.Event,
    publisher: Publisher,
    dead: list[tuple[str, BaseException]],
) -> None:
    while not stop.wait(LOOK_S):
        if ended.is_set():
            return
        if not publisher.alive:
            raise ThreadDied("the broker's network thread" if not dead else dead[0][0])


def _end(working: Sequence[Instrument], publisher: Publisher) -> None:
    """Instruments first, so that their last readings and states are among what is drained."""
    for instrument in working:
        instrument.stop()
    until_s = time.monotonic() + INSTRUMENTS_END_S
    for instrument in working:
        if not instrument.join(max(0.0, until_s - time.monotonic())):
            log.error("%s: its thread did not end in time", instrument.name)
    publisher.stop()


def main(arguments: Sequence[str] | None = None) -> int:
    """The process: 0 after a stop, 2 for settings that cannot be used, else a traceback and 1."""
    parser = argparse.ArgumentParser(prog="drivers", description="Instruments to the broker.")
    parser.add_argument("--config", type=Path, help="configuration file; none: all defaults")
    parser.add_argument("--broker", required=True, help="mqtt://host:1883")
    parser.add_argument("--folder", type=Path, help="where the outbox lies")
    parser.add_argument("--clock", type=Path, help="clock file of a simulated kitchen")
    chosen = parser.parse_args(arguments)
    logging.basicConfig(
        level=logging.INFO, format="%(asctime)s %(levelname)s %(name)s: %(message)s"
    )
    stop = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda _number, _frame: stop.set())
    try:
        broker = BrokerAddress.parse(chosen.broker)
    except ValueError as error:
        log.error("%s", error)
        return 2
    try:
        config = configuration.load(chosen.config) if chosen.config else Config()
        clock_file = chosen.clock or (Path(config.clock_file) if config.clock_file else None)
        run(
            config,
            broker,
            stop,
            KitchenClock(clock_file) if clock_file else SystemClock(),
            folder=chosen.folder,
            beside=chosen.config.parent if chosen.config else None,
        )
    except (ConfigError, ClockFileError, OutboxError) as error:
        log.error("%s", error)
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main())
