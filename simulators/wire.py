"""The wires: where an instrument's bytes leave the simulation.

A wire has a lasting name (a symbolic link or a named pipe in a folder), knows whether somebody
holds its other end, never blocks, and counts: frames written while held, frames that went nowhere,
and when.
"""

from __future__ import annotations

import contextlib
import fcntl
import os
import select
import stat
import tty
from collections import deque
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

from simulators.faults import Fault, sound

REMEMBERED_FRAMES = 4096  # more than a pty's buffer holds


@dataclass
class FrameCount:
    """What became of an instrument's frames.

    ``unheld`` counts frames written while nobody held the wire, or found unread in the wire when
    its holder was gone; ``dropped`` those for which the wire had no room. Spans are kitchen seconds
    since the epoch, first and last frame of each unbroken run of unheld frames.
    """

    held: int = 0
    unheld: int = 0
    dropped: int = 0
    unheld_spans: list[list[float]] = field(default_factory=list)
    _in_span: bool = False

    def add_held(self) -> None:
        """A frame went to a holder."""
        self.held += 1
        self._in_span = False

    def add_unheld(self, kitchen_us: int) -> None:
        """A frame went nowhere."""
        self.unheld += 1
        t = kitchen_us / 1e6
        if self._in_span:
            self.unheld_spans[-1][1] = t
        else:
            self.unheld_spans.append([t, t])
        self._in_span = True

    def move_to_unheld(self, frame_times_us: list[int]) -> None:
        """Frames thought to be with a holder were never read."""
        for at_us in frame_times_us:
            self.held -= 1
            self.add_unheld(at_us)

    def document(self) -> dict[str, object]:
        """As it stands in the last line of a kitchen's output."""
        return {
            "held": self.held,
            "unheld": self.unheld,
            "dropped": self.dropped,
            "unheld_spans": self.unheld_spans,
        }


class Wire(Protocol):
    """What an instrument needs of a wire."""

    path: Path
    count: FrameCount
    fault: Fault

    def send(self, frame: bytes, kitchen_us: int) -> None:
        """Write one frame now, or count it as lost."""

    def receive(self) -> bytes:
        """What the other end has sent meanwhile."""

    def close(self) -> None:
        """Take the wire away."""


class PtyWire:
    """A pseudo-terminal, raw at both ends, behind the lasting symbolic link ``folder/name``.

    The kernel tells a hang-up on the master while nobody has the other end open. What a holder left
    unread when it went is taken out again and counted as unheld, for a serial line remembers
    nothing; only a holder that comes back between two frames goes unnoticed.
    """

    def __init__(self, folder: Path, name: str, fault: Fault = sound) -> None:
        self.path = folder / name
        self.count = FrameCount()
        self.fault = fault
        self._master = -1
        self._device = ""
        self._was_held = False
        self._sent: deque[tuple[int, int]] = deque(maxlen=REMEMBERED_FRAMES)
        self.plug()

    def plug(self) -> None:
        """Make the terminal and point the link at it.

        After :meth:`unplug` the device has another name.
        """
        if self._master >= 0:
            return
        master, slave = os.openpty()
        tty.setraw(master)
        tty.setraw(slave)
        os.set_blocking(master, False)
        self._device = os.ttyname(slave)
        # closing our own end is what makes the kernel report the hang-up from now on
        os.close(slave)
        self._master = master
        _clear(self.path)
        _link(self.path, self._device)

    def unplug(self) -> None:
        """Pull the cable: the holder sees an input/output error, the link is gone."""
        if self._master < 0:
            return
        os.close(self._master)
        self._master = -1
        self._was_held = False
        self._sent.clear()
        with contextlib.suppress(FileNotFoundError):
            self.path.unlink()

    @property
    def is_held(self) -> bool:
        """True while somebody has the other end open."""
        if self._master < 0:
            return False
        poller = select.poll()
        poller.register(self._master, 0)
        return not any(event & select.POLLHUP for _, event in poller.poll(0))

    def send(self, frame: bytes, kitchen_us: int) -> None:
        """Write one frame (through the fault), or count it as unheld or dropped. Never blocks."""
        held = self.is_held
        if self._was_held and not held:
            self._take_back_unread()
        self._was_held = held
        if not held:
            self.count.add_unheld(kitchen_us)
            return
        written = 0
        for piece in self.fault(frame):
            try:
                done = os.write(self._master, piece)
            except BlockingIOError:
                done = 0
            written += done
            if done < len(piece):
                self.count.dropped += 1
                self._sent.append((kitchen_us, written))
                return
        self._sent.append((kitchen_us, written))
        self.count.add_held()

    def receive(self) -> bytes:
        """Bytes the other end has sent; empty when none."""
        if self._master < 0:
            return b""
        try:
            return os.read(self._master, 4096)
        except BlockingIOError:
            return b""
        except OSError:  # nobody holds the other end
            return b""

    def close(self) -> None:
        """Unplug for good."""
        self.unplug()

    def _take_back_unread(self) -> None:
        try:
            slave = os.open(self._device, os.O_RDONLY | os.O_NOCTTY | os.O_NONBLOCK)
        except OSError:  # somebody else was quicker and holds it exclusively
            return
        unread = 0
        try:
            while piece := os.read(slave, 65536):
                unread += len(piece)
        except BlockingIOError:
            pass
        finally:
            os.close(slave)
        lost: list[int] = []
        while unread > 0 and self._sent:
            kitchen_us, length = self._sent.pop()
            unread -= length
            if length:
                lost.append(kitchen_us)
        self._sent.clear()
        self.count.move_to_unheld(lost[::-1])


class FifoWire:
    """A named pipe in packet mode: each read returns one report, as a hidraw device does."""

    def __init__(self, folder: Path, name: str, fault: Fault = sound) -> None:
        self.path = folder / name
        self.count = FrameCount()
        self.fault = fault
        self._end = -1
        _clear(self.path)
        os.mkfifo(self.path)

    @property
    def is_held(self) -> bool:
        """True while somebody reads."""
        if self._end < 0:
            try:
                self._end = os.open(self.path, os.O_WRONLY | os.O_NONBLOCK)
            except OSError:
                return False
            flags = fcntl.fcntl(self._end, fcntl.F_GETFL)
            fcntl.fcntl(self._end, fcntl.F_SETFL, flags | os.O_DIRECT)
        poller = select.poll()
        poller.register(self._end, 0)
        return not any(event & select.POLLERR for _, event in poller.poll(0))

    def send(self, frame: bytes, kitchen_us: int) -> None:
        """Write one report (through the fault), or count it as unheld or dropped. Never blocks."""
        if not self.is_held:
            self._let_go()
            self.count.add_unheld(kitchen_us)
            return
        for piece in self.fault(frame):
            try:
                os.write(self._end, piece)
            except BlockingIOError:
                self.count.dropped += 1
                return
            except BrokenPipeError:
                self._let_go()
                self.count.add_unheld(kitchen_us)
                return
        self.count.add_held()

    def receive(self) -> bytes:
        """Nothing: this wire runs one way."""
        return b""

    def close(self) -> None:
        """Close and remove the pipe."""
        self._let_go()
        with contextlib.suppress(FileNotFoundError):
            self.path.unlink()

    def _let_go(self) -> None:
        if self._end >= 0:
            os.close(self._end)
            self._end = -1


def _link(path: Path, device: str) -> None:
    beside = path.with_name(f".{path.name}.{os.getpid()}")
    with contextlib.suppress(FileNotFoundError):
        beside.unlink()
    beside.symlink_to(device)
    beside.replace(path)


def _clear(path: Path) -> None:
    """Remove what an earlier run left there; anything but a link or a pipe is somebody's file."""
    with contextlib.suppress(FileNotFoundError):
        mode = path.lstat().st_mode
        if not (stat.S_ISLNK(mode) or stat.S_ISFIFO(mode)):
            raise FileExistsError(f"{path} is in the way: it is neither a link nor a pipe")
        path.unlink()
