"""Reports by plain system calls, from a named pipe as from a device."""

from __future__ import annotations

import fcntl
import os
from pathlib import Path
from typing import Any

import pytest

from drivers.ports import Hidraw, PortBusy, PortLost, PortMissing

REPORT = bytes.fromhex("03 04 02 FF D2 04")


def packets(pipe: Path) -> int:
    """The writing end in packet mode: each read at the other end gives one write."""
    writer = os.open(pipe, os.O_WRONLY)
    fcntl.fcntl(writer, fcntl.F_SETFL, os.O_DIRECT)
    return writer


@pytest.fixture
def pipe(tmp_path: Path) -> Path:
    path = tmp_path / "hidraw"
    os.mkfifo(path)
    return path


def test_each_read_gives_one_report(pipe: Path) -> None:
    with Hidraw(str(pipe)) as port:
        writer = packets(pipe)
        os.write(writer, REPORT)
        os.write(writer, REPORT)

        reports = [port.read(), port.read(), port.read()]

        os.close(writer)
    assert reports == [REPORT, REPORT, b""]


def test_a_pipe_nobody_writes_to_is_silent_and_one_whose_writer_went_is_lost(pipe: Path) -> None:
    with Hidraw(str(pipe)) as port:
        assert port.read() == b""
        os.close(os.open(pipe, os.O_WRONLY))

        with pytest.raises(PortLost, match="the other end was closed"):
            port.read()


def test_a_terminal_that_is_unplugged_is_lost_in_read_and_write(pty_port: Any) -> None:
    with Hidraw(str(pty_port.path)) as port:
        pty_port.send(REPORT)
        assert port.read() == REPORT
        pty_port.unplug()

        with pytest.raises(PortLost):
            port.read()
        with pytest.raises(PortLost):
            port.write(b"x")


def test_waiting_reports_can_be_discarded(pipe: Path) -> None:
    with Hidraw(str(pipe)) as port:
        writer = packets(pipe)
        os.write(writer, REPORT)
        port.discard_input()

        assert port.read() == b""
        os.close(writer)


def test_a_second_reader_is_refused_and_a_missing_device_named(pipe: Path) -> None:
    with Hidraw(str(pipe)), pytest.raises(PortBusy, match="hidraw"):
        Hidraw(str(pipe))
    with pytest.raises(PortMissing, match="hidraw9"):
        Hidraw(str(pipe.with_name("hidraw9")))
