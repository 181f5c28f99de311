"""One instrument on a real pseudo-terminal: readings, gaps, states, commands, questions."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest

from drivers.config import InstrumentConfig
from drivers.frames import parser_for
from drivers.instrument import Instrument
from drivers.lanes import Item
from drivers.notices import Gap, Jump
from drivers.ports import open_port
from drivers.reading import Reading

T0_US = 1_800_000_000_000_000
SMA_240 = b"\n 1G       240.0g  \r"


class HandClock:
    """Kitchen time that a test moves; a microsecond a look, so that it is never stopped."""

    def __init__(self) -> None:
        self.us = T0_US
        self.kitchen_speed = 1.0

    def now_us(self) -> int:
        self.us += 1
        return self.us

    def speed(self) -> float:
        return self.kitchen_speed


class Sink:
    """Keeps what an instrument says; `full` makes it refuse."""

    driver_id = "drivers-test"

    def __init__(self) -> None:
        self.items: list[Item] = []
        self.states: list[dict[str, Any]] = []
        self.answers: list[dict[str, Any]] = []
        self.full = False

    def put(self, items: Sequence[Item]) -> bool:
        if not self.full:
            self.items += items
        return not self.full

    def announce(self, _instrument: str, document: dict[str, Any]) -> None:
        self.states.append(document)

    def answer(self, _instrument: str, document: dict[str, Any]) -> None:
        self.answers.append(document)

    @property
    def readings(self) -> list[Reading]:
        return [item for item in list(self.items) if isinstance(item, Reading)]

    @property
    def gaps(self) -> list[Gap]:
        return [item for item in list(self.items) if isinstance(item, Gap)]

    def state_names(self) -> list[str]:
        names = [document["state"] for document in list(self.states)]
        return [name for i, name in enumerate(names) if i == 0 or name != names[i - 1]]


@pytest.fixture
def clock() -> HandClock:
    return HandClock()


@pytest.fixture
def sink() -> Sink:
    return Sink()


Start = Callable[..., Instrument]


@pytest.fixture
def start(pty_port: Any, sink: Sink, clock: HandClock) -> Iterator[Start]:
    made: list[Instrument] = []

    def make(family: str = "sma", last_us: int | None = None, **settings: Any) -> Instrument:
        config = InstrumentConfig.model_validate(
            {"name": "bench-scale", "family": family, "port": str(pty_port.path)} | settings
        )
        died: list[BaseException] = []
        made.append(
            Instrument(
                config,
                lambda: open_port(config),
                lambda: parser_for(family),
                sink,
                clock,
                last_us=last_us,
                on_death=died.append,
            )
        )
        made[-1].start()
        return made[-1]

    yield make
    for one in made:
        one.stop()
        assert one.join(3.0), "the instrument's thread did not end"


def test_a_frame_becomes_a_reading_with_a_time(
    start: Start, pty_port: Any, sink: Sink, wait_until: Any
) -> None:
    start()
    assert pty_port.receive() == b"\nR\r"  # the family has a start command

    pty_port.send(SMA_240[:7])
    pty_port.send(SMA_240[7:])

    wait_until(lambda: sink.readings)
    (reading,) = sink.readings
    assert (reading.name, reading.value, reading.unit) == ("bench-scale/mass", 0.24, "kg")
    assert (reading.stable, reading.net, reading.seq) == (True, False, None)
    assert reading.t_us > T0_US
    wait_until(lambda: sink.states and sink.states[-1]["state"] == "online")
    assert sink.states[-1]["channels"] == [
        {"name": "mass", "unit": "kg", "division": None, "class": None}
    ]


def test_stamps_strictly_increase_and_one_frame_shares_one(
    start: Start, pty_port: Any, sink: Sink, wait_until: Any
) -> None:
    instrument = start("text-probe", channels={"T1": "core", "T2": "air"})
    wait_until(lambda: instrument.openings)

    for i in range(20):
        pty_port.send(b"T1 %d.0 C, T2 175.0 C\r\n" % (20 + i))
    wait_until(lambda: sink.readings and sink.readings[-2].value == 39.0)

    core = [r.t_us for r in sink.readings if r.channel == "core"]
    air = [r.t_us for r in sink.readings if r.channel == "air"]
    assert core == air
    assert core == sorted(set(core))


def test_a_replugged_port_declares_the_time_between_before_the_first_reading(
    start: Start, pty_port: Any, sink: Sink, wait_until: Any
) -> None:
    instrument = start()
    descriptors = set()
    for cycle in range(10):
        wait_until(lambda n=cycle: instrument.openings == n + 1)
        pty_port.send(SMA_240)
        wait_until(lambda n=cycle: len(sink.readings) == n + 1)
        descriptors.add(len(list(Path("/proc/self/fd").iterdir())))
        pty_port.unplug()
        pty_port.plug()

    kinds = [type(item).__name__ for item in sink.items]
    assert kinds == ["Reading"] + ["Gap", "Reading"] * 9
    for gap, before, after in zip(sink.gaps, sink.readings, sink.readings[1:], strict=False):
        assert (gap.first, gap.last) == (None, None)
        assert (gap.from_us, gap.to_us) == (before.t_us, after.t_us)
        assert "lost" in gap.reason
    assert len(descriptors) == 1
    assert sink.state_names()[:3] == ["online", "offline", "online"]


def test_after_a_restart_the_gap_begins_at_the_last_committed_reading(
    start: Start, pty_port: Any, sink: Sink, wait_until: Any
) -> None:
    last_us = T0_US - 60_000_000

    instrument = start(last_us=last_us)
    wait_until(lambda: instrument.openings)
    pty_port.send(SMA_240)
    wait_until(lambda: sink.readings)

    (gap,) = sink.gaps
    assert sink.items[0] is gap
    assert (gap.from_us, gap.to_us) == (last_us, sink.readings[0].t_us)
    assert gap.reason == "the drivers were not running"


def test_a_clock_set_back_between_two_starts_repeats_no_stamp(
    start: Start, pty_port: Any, sink: Sink, wait_until: Any
) -> None:
    last_us = T0_US + 3_600_000_000

    instrument = start(last_us=last_us)
    wait_until(lambda: instrument.openings)
    pty_port.send(SMA_240)
    wait_until(lambda: sink.readings)

    assert sink.readings[0].t_us > last_us
    (jump,) = [item for item in sink.items if isinstance(item, Jump)]
    assert jump.jump_us == pytest.approx(-3_600_000_000, abs=1000)


def test_a_jump_of_the_clock_is_recorded_once_before_the_reading(
    start: Start, pty_port: Any, sink: Sink, clock: HandClock, wait_until: Any
) -> None:
    instrument = start()
    wait_until(lambda: instrument.openings)
    pty_port.send(SMA_240)
    wait_until(lambda: sink.readings)

    clock.us += 90_000_000
    for n in (2, 3):
        pty_port.send(SMA_240)
        wait_until(lambda n=n: len(sink.readings) == n)

    kinds = [type(item).__name__ for item in sink.items]
    assert kinds == ["Reading", "Jump", "Reading", "Reading"]


def test_silence_is_said_once_and_so_is_the_return(
    start: Start, pty_port: Any, sink: Sink, wait_until: Any
) -> None:
    instrument = start(silent_s=0.3)
    wait_until(lambda: instrument.openings)
    pty_port.send(SMA_240)
    wait_until(lambda: sink.state_names() == ["online"])

    wait_until(lambda: sink.state_names() == ["online", "silent"])
    wait_until(lambda: instrument.openings == 2)  # opened once more, and asked to speak again
    pty_port.send(SMA_240)

    wait_until(lambda: sink.state_names() == ["online", "silent", "online"])
    silent = next(document for document in sink.states if document["state"] == "silent")
    assert silent["reason"] == "nothing for 0.3 s"


def test_standing_kitchen_time_is_no_silence(
    start: Start, pty_port: Any, sink: Sink, clock: HandClock, wait_until: Any
) -> None:
    clock.kitchen_speed = 0.0
    instrument = start(silent_s=0.1)
    wait_until(lambda: instrument.openings)
    pty_port.send(SMA_240)
    wait_until(lambda: sink.readings)

    wait_until(lambda: instrument._quiet_s > 0.5)

    assert instrument.state == "online"


def test_bytes_that_are_no_frames_make_the_instrument_faulty(
    start: Start, pty_port: Any, sink: Sink, wait_until: Any
) -> None:
    instrument = start(silent_s=0.3)
    wait_until(lambda: instrument.openings)

    def noise() -> bool:
        if pty_port.is_held:
            pty_port.send(b"\xf0\x9f\x80\x00\xff" * 40)
        return bool(sink.states) and sink.states[-1]["state"] == "faulty"

    wait_until(noise)

    assert "check the baud rate" in sink.states[-1]["reason"]
    assert not sink.readings


class ScriptedPort:
    """Gives its pieces one read after the other, then nothing."""

    path = "scripted"

    def __init__(self, pieces: list[bytes]) -> None:
        self._pieces = pieces
        self._idle = threading.Event()

    def read(self) -> bytes:
        if self._pieces:
            return self._pieces.pop(0)
        self._idle.wait(0.01)
        return b""

    def write(self, payload: bytes) -> None:
        raise AssertionError(f"nothing is written to this instrument, and yet {payload!r}")

    def discard_input(self) -> None:
        self._pieces.clear()

    def close(self) -> None:
        self._pieces.clear()

    def __enter__(self) -> ScriptedPort:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


@pytest.mark.parametrize(
    ("pieces", "values", "discarded"),
    [
        ([b"12.5 g\r\n", b"  112.5 g\r\n"], [0.1125], 1),  # was it 12.5 or 112.5?
        ([b"", b"12.5 g\r\n", b"  112.5 g\r\n"], [0.0125, 0.1125], 0),  # a pause came first
        ([b"5 g g\r\n", b"12.5 g\r\n", b"  112.5 g\r\n"], [0.0125, 0.1125], 0),  # cut, as seen
    ],
)
def test_a_line_whose_head_may_be_missing_is_discarded_after_opening(
    sink: Sink,
    clock: HandClock,
    wait_until: Any,
    pieces: list[bytes],
    values: list[float],
    discarded: int,
) -> None:
    config = InstrumentConfig(name="bench-scale", family="value-unit", port="scripted")
    instrument = Instrument(
        config,
        lambda: ScriptedPort(list(pieces)),
        lambda: parser_for("value-unit"),
        sink,
        clock,
    )

    instrument.start()
    wait_until(lambda: len(sink.readings) == len(values))
    instrument.stop()

    assert instrument.join(1.0)
    assert [reading.value for reading in sink.readings] == values
    assert instrument.discarded == discarded


def test_readings_that_cannot_be_true_are_counted_and_never_sent(
    start: Start, pty_port: Any, sink: Sink, wait_until: Any
) -> None:
    instrument = start()
    wait_until(lambda: instrument.openings)

    pty_port.send(b"\n 1G   1900000kg \r" + b"\n 1G   1900000.kg \r" + SMA_240)

    wait_until(lambda: sink.readings)
    assert [reading.value for reading in sink.readings] == [0.24]
    assert instrument.refused + instrument.garbage == 2


def test_a_full_queue_is_declared_as_a_gap(
    start: Start, pty_port: Any, sink: Sink, wait_until: Any
) -> None:
    instrument = start()
    wait_until(lambda: instrument.openings)
    pty_port.send(SMA_240)
    wait_until(lambda: sink.readings)

    sink.full = True
    pty_port.send(SMA_240)
    wait_until(lambda: instrument._gap_reason)
    sink.full = False
    pty_port.send(SMA_240)
    wait_until(lambda: len(sink.readings) == 2)

    (gap,) = sink.gaps
    assert gap.reason == "the disk did not keep up"
    assert (gap.from_us, gap.to_us) == (sink.readings[0].t_us, sink.readings[1].t_us)


@pytest.mark.parametrize(
    ("family", "command", "reply", "sent", "done", "words"),
    [
        ("sma", "tare", b"", b"\nT\r", True, "no objection"),
        ("sma", "zero", b"\n?\r", b"\nZ\r", False, "does not know the command zero"),
        ("sma", "zero", b"\nE1G  ----------g  \r", b"\nZ\r", False, "refused: zero error"),
        ("value-unit", "tare", b"", b"", False, "press the key on the instrument"),
        ("sma", "dance", b"", b"", False, "there are tare, zero"),
    ],
)
def test_a_command_is_sent_and_answered(
    start: Start,
    pty_port: Any,
    sink: Sink,
    wait_until: Any,
    family: str,
    command: str,
    reply: bytes,
    sent: bytes,
    done: bool,
    words: str,
) -> None:
    instrument = start(family)
    wait_until(lambda: instrument.openings)
    if family == "sma":
        assert pty_port.receive() == b"\nR\r"

    for _ in range(2):  # a command that is repeated counts once
        instrument.command({"command": command, "id": "c1", "instrument": "bench-scale"})
    if sent:
        assert pty_port.receive() == sent
        pty_port.send(reply)
    wait_until(lambda: sink.answers)

    (answer,) = sink.answers
    assert (answer["answer"], answer["instrument"], answer["done"]) == ("c1", "bench-scale", done)
    assert words in answer["text"]
    if sent:
        assert pty_port.receive() == b"\nR\r"  # a command has ended the repeat


def test_a_command_without_a_port_is_answered_at_once(
    start: Start, pty_port: Any, sink: Sink, wait_until: Any
) -> None:
    pty_port.unplug()
    instrument = start()
    wait_until(lambda: instrument.state == "offline")

    instrument.command({"command": "tare", "id": "c1"})

    wait_until(lambda: sink.answers)
    assert sink.answers[0]["done"] is False
    assert "no such port" in sink.answers[0]["text"]


def test_a_polled_instrument_is_asked_and_a_late_answer_is_discarded(
    start: Start, pty_port: Any, sink: Sink, wait_until: Any
) -> None:
    instrument = start(mode="polled", poll_s=0.05)
    assert pty_port.receive() == b"\nW\r"
    pty_port.send(SMA_240)
    wait_until(lambda: len(sink.readings) == 1)
    assert pty_port.receive() == b"\nW\r"

    assert pty_port.receive(1.3) == b""  # no answer: the next interval is quiet
    pty_port.send(b"\n 1G       111.0g  \r")
    wait_until(lambda: instrument.discarded == 1)
    assert pty_port.receive() == b"\nW\r"
    pty_port.send(b"\n 1G       250.0g  \r")
    wait_until(lambda: len(sink.readings) == 2)

    assert [reading.value for reading in sink.readings] == [0.24, 0.25]


def test_an_instrument_stops_at_once_while_it_waits_to_open(
    start: Start, pty_port: Any, wait_until: Any
) -> None:
    pty_port.unplug()
    instrument = start()
    wait_until(lambda: instrument.state == "offline")

    instrument.stop()

    assert instrument.join(1.0)


def test_the_port_is_free_again_after_the_stop(
    start: Start, pty_port: Any, wait_until: Any
) -> None:
    instrument = start()
    wait_until(lambda: instrument.openings)

    instrument.stop()

    assert instrument.join(1.0)
    assert not pty_port.is_held
