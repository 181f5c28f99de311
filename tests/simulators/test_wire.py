"""Wires: real pseudo-terminals and pipes, with somebody at the other end or nobody."""

import os
import select
import tty
from collections.abc import Iterator
from pathlib import Path
from random import Random

import pytest

from simulators import frames
from simulators.faults import cut
from simulators.kitchen_time import ClockWriter
from simulators.schedule import Schedule, ScheduleThread
from simulators.wire import FifoWire, PtyWire

SECOND_US = 1_000_000


def open_port(path: Path) -> int:
    port = os.open(path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    tty.setraw(port)
    return port


def read_until(port: int, length: int, deadline_s: float = 5.0) -> bytes:
    got = b""
    while len(got) < length:
        got += read_some(port, deadline_s)
    return got


def read_through(port: int, end: bytes) -> bytes:
    """Up to `end`, however many reads the kernel makes of it."""
    got = b""
    while not got.endswith(end):
        got += read_some(port)
    return got


def read_some(port: int, deadline_s: float = 5.0) -> bytes:
    readable, _, _ = select.select([port], [], [], deadline_s)
    assert readable, "no more bytes came"
    return os.read(port, 65536)


@pytest.fixture
def wire(tmp_path: Path) -> Iterator[PtyWire]:
    made = PtyWire(tmp_path, "bench-scale")
    yield made
    made.close()


def test_frames_flow_byte_for_byte_through_a_real_terminal(wire: PtyWire) -> None:
    port = open_port(wire.path)
    sent = [frames.sma(float(n)) for n in range(50)]

    for n, frame in enumerate(sent):
        wire.send(frame, n * SECOND_US)
    got = read_until(port, len(b"".join(sent)))
    os.close(port)

    assert got == b"".join(sent)
    assert (wire.count.held, wire.count.unheld) == (50, 0)


def test_frames_that_nobody_hears_are_counted_with_their_times(wire: PtyWire) -> None:
    for n in range(3):
        wire.send(b"x\r\n", n * SECOND_US)
    port = open_port(wire.path)
    wire.send(b"y\r\n", 3 * SECOND_US)
    heard = read_until(port, 3)
    os.close(port)
    for n in range(4, 6):
        wire.send(b"z\r\n", n * SECOND_US)

    assert heard == b"y\r\n"
    assert wire.count.document() == {
        "held": 1,
        "unheld": 5,
        "dropped": 0,
        "unheld_spans": [[0.0, 2.0], [4.0, 5.0]],
    }


def test_what_a_holder_left_unread_is_counted_as_unheld(wire: PtyWire) -> None:
    port = open_port(wire.path)
    for n in range(10):
        wire.send(b"12345678\r\n", n * SECOND_US)
    got = os.read(port, 60)
    os.close(port)

    wire.send(b"12345678\r\n", 10 * SECOND_US)

    assert len(got) == 60
    assert (wire.count.held, wire.count.unheld) == (6, 5)
    assert wire.count.unheld_spans == [[6.0, 10.0]]


def test_nothing_old_waits_for_the_next_holder(wire: PtyWire) -> None:
    first = open_port(wire.path)
    wire.send(b"old\r\n", 0)
    os.close(first)
    wire.send(b"lost\r\n", 1)
    second = open_port(wire.path)

    wire.send(b"new\r\n", 2)
    got = read_until(second, 5)
    os.close(second)

    assert got == b"new\r\n"


def test_a_holder_that_does_not_read_never_blocks_the_instrument(wire: PtyWire) -> None:
    port = open_port(wire.path)

    for n in range(20_000):
        wire.send(b"12345678\r\n", n)
    os.close(port)

    assert wire.count.dropped > 0
    assert wire.count.held + wire.count.unheld + wire.count.dropped == 20_000


def test_commands_come_back_over_the_same_terminal(wire: PtyWire) -> None:
    port = open_port(wire.path)
    os.write(port, b"\nW\r")
    poller = select.poll()
    poller.register(port, select.POLLOUT)
    poller.poll(1000)

    received = b""
    for _ in range(1000):
        received += wire.receive()
        if len(received) >= 3:
            break
    os.close(port)

    assert received == b"\nW\r"


def test_a_pulled_cable_is_an_error_there_and_a_new_name_afterwards(wire: PtyWire) -> None:
    port = open_port(wire.path)
    os.set_blocking(port, True)

    wire.unplug()
    gone = not wire.path.is_symlink()
    wire.send(b"x", 0)
    try:
        ended = os.read(port, 10) == b""
    except OSError:
        ended = True
    wire.plug()
    again = open_port(wire.path)
    wire.send(b"back\r\n", SECOND_US)
    got = read_until(again, 6)
    os.close(port)
    os.close(again)

    assert gone
    assert ended
    assert got == b"back\r\n"
    assert wire.count.unheld == 1


def test_a_fault_is_on_the_wire_and_not_in_the_count(wire: PtyWire) -> None:
    port = open_port(wire.path)
    wire.fault = cut(Random(3), 1.0)

    wire.send(b"0123456789\r\n", 0)
    wire.fault = cut(Random(3), 0.0)
    wire.send(b"whole\r\n", 1)
    got = read_through(port, b"whole\r\n")
    os.close(port)

    assert len(got) < 19
    assert wire.count.held == 2


def test_somebodys_file_in_the_way_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "scale").write_text("mine")

    with pytest.raises(FileExistsError):
        PtyWire(tmp_path, "scale")
    assert (tmp_path / "scale").read_text() == "mine"


def test_each_read_of_a_pipe_is_one_report(tmp_path: Path) -> None:
    wire = FifoWire(tmp_path, "hid")
    wire.send(frames.hid_scale(1.0), 0)
    port = os.open(wire.path, os.O_RDONLY | os.O_NONBLOCK)
    for n in range(1, 4):
        wire.send(frames.hid_scale(float(n)), n * SECOND_US)

    reports = [os.read(port, 64) for _ in range(3)]
    os.close(port)
    wire.send(frames.hid_scale(9.0), 9 * SECOND_US)
    wire.close()

    assert [report[4] for report in reports] == [1, 2, 3]
    assert {len(report) for report in reports} == {6}
    assert (wire.count.held, wire.count.unheld) == (3, 2)
    assert not wire.path.exists()


def test_a_thread_of_its_own_paces_an_instrument_by_deadlines(wire: PtyWire) -> None:
    clock = ClockWriter(None, 0, 20.0)
    schedule = Schedule(0)
    times: list[int] = []

    def send(at_us: int) -> None:
        times.append(at_us)
        wire.send(b"tick\r\n", at_us)

    schedule.every(100_000, send)
    port = open_port(wire.path)
    thread = ScheduleThread("streaming scale", schedule, clock)
    thread.start()
    read_until(port, 6 * 30)
    thread.finish()
    os.close(port)

    assert times == [n * 100_000 for n in range(len(times))]
    assert len(times) >= 30


def test_what_goes_wrong_in_the_thread_is_told_at_its_end() -> None:
    schedule = Schedule(0)

    def broken(at_us: int) -> None:
        raise RuntimeError("the load cell fell off")

    schedule.every(100_000, broken)
    thread = ScheduleThread("broken scale", schedule, ClockWriter(None, 0, 1.0))
    thread.start()
    thread.join(5.0)

    with pytest.raises(RuntimeError, match="fell off"):
        thread.finish()
