"""A serial line over a real pseudo-terminal: every loss is one error, nothing leaks."""

from __future__ import annotations

import pickle
import threading
from pathlib import Path
from typing import Any

import pytest

from drivers.ports import PortBusy, PortError, PortLost, PortMissing, SerialLine


def read_all(line: SerialLine) -> bytes:
    """Everything up to the first read that gives nothing."""
    out = b""
    while piece := line.read():
        out += piece
    return out


@pytest.mark.parametrize(
    "what",
    [
        lambda line: line.read(),
        lambda line: line.waiting(),
        lambda line: line.write(b"W"),
        lambda line: line.discard_input(),
        lambda line: line.drain(),
    ],
    ids=["read", "in_waiting", "write", "discard", "drain"],
)
def test_an_unplugged_port_is_one_kind_of_loss(pty_port: Any, what: Any) -> None:
    with SerialLine(str(pty_port.path)) as line:
        pty_port.unplug()

        with pytest.raises(PortLost) as caught:
            what(line)

    assert caught.value.path == str(pty_port.path)
    assert "lost" in caught.value.reason


def test_bytes_are_read_as_they_come(pty_port: Any) -> None:
    with SerialLine(str(pty_port.path)) as line:
        pty_port.send(b"  12.3 g\r\n")

        assert read_all(line) == b"  12.3 g\r\n"


def test_what_came_before_opening_is_not_read(pty_port: Any) -> None:
    SerialLine(str(pty_port.path)).close()
    pty_port.send(b"stale\r\n")

    with SerialLine(str(pty_port.path)) as line:
        assert line.read() == b""


def test_a_port_held_by_another_reader_is_busy_and_named(pty_port: Any) -> None:
    with (
        SerialLine(str(pty_port.path)) as line,
        pytest.raises(PortBusy, match=r"scale: in use by another program; close"),
    ):
        SerialLine(str(pty_port.path))
    assert line.path == str(pty_port.path)


def test_a_path_that_names_nothing_is_missing(tmp_path: Path) -> None:
    with pytest.raises(PortMissing, match=r"nowhere: no such port; plug the instrument in"):
        SerialLine(str(tmp_path / "nowhere"))


def test_a_file_that_is_no_terminal_cannot_be_a_serial_line(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("no terminal")

    with pytest.raises(PortLost, match="cannot be opened"):
        SerialLine(str(tmp_path / "notes.txt"))


def test_another_thread_may_neither_use_nor_close_a_port(pty_port: Any) -> None:
    caught: list[BaseException] = []

    def intrude(call: Any) -> None:
        try:
            call()
        except RuntimeError as error:
            caught.append(error)

    with SerialLine(str(pty_port.path)) as line:
        for call in (line.read, line.close):
            thread = threading.Thread(target=intrude, args=(call,))
            thread.start()
            thread.join()
        pty_port.send(b"ok")
        assert read_all(line) == b"ok"

    assert len(caught) == 2


def test_plugging_ten_times_under_new_names_leaks_no_descriptor(pty_port: Any) -> None:
    def descriptors() -> int:
        return len(list(Path("/proc/self/fd").iterdir()))

    before = descriptors()
    names: set[str] = set()
    for _ in range(10):
        with SerialLine(str(pty_port.path)) as line:
            names.add(pty_port.device)
            pty_port.send(b"x")
            assert line.read() == b"x"
            pty_port.unplug()
            pty_port.plug()  # while the old name is still held
            with pytest.raises(PortLost):
                line.read()

    assert len(names) > 1
    assert descriptors() == before


def test_port_errors_can_be_pickled() -> None:
    error: PortError = pickle.loads(pickle.dumps(PortBusy("/dev/scale", "in use")))

    assert (type(error), error.path, error.reason) == (PortBusy, "/dev/scale", "in use")
