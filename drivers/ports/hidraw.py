"""Reports of a HID device by plain system calls; a named pipe or a pseudo-terminal will do too."""

from __future__ import annotations

import contextlib
import fcntl
import os
import select
import stat
import termios
import tty
from pathlib import Path

from drivers.ports.port import OwnedPort, PortLost, opening_error

READ_S = 0.05
WRITE_S = 1.0
# The longest report of a full-speed interrupt endpoint is 64 bytes; a read gives one report.
REPORT_BYTES = 4096
# More than the kernel keeps of any device; a flood must not hold its reader for ever.
MOST_REPORTS = 1000


class Hidraw(OwnedPort):
    """A ``/dev/hidrawN`` (or the lasting link to one); each read gives one report.

    A named pipe is opened for reading only, so that its writer's end is seen as a loss; a pipe
    nobody writes to yet is silent, not lost.

    Raises:
        PortMissing, PortBusy, PortDenied, PortLost: as `SerialLine`.
    """

    def __init__(self, path: str) -> None:
        super().__init__(path)
        self._fd: int | None = None
        fd: int | None = None
        try:
            fd = self._open(path)
            fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
            if os.isatty(fd):
                tty.setraw(fd)
        except (OSError, termios.error) as error:
            if fd is not None:
                os.close(fd)
            raise opening_error(path, error) from error
        self._fd = fd

    @staticmethod
    def _open(path: str) -> int:
        flags = os.O_NONBLOCK | os.O_NOCTTY | os.O_CLOEXEC
        if stat.S_ISFIFO(Path(path).stat().st_mode):
            return os.open(path, os.O_RDONLY | flags)
        try:
            return os.open(path, os.O_RDWR | flags)
        except PermissionError:
            return os.open(path, os.O_RDONLY | flags)

    def _descriptor(self) -> int:
        self._own()
        if self._fd is None:
            raise RuntimeError(f"{self.path}: the port is closed")
        return self._fd

    def read(self) -> bytes:
        """One report, or nothing after `READ_S`; raises PortLost."""
        fd = self._descriptor()
        with self._loss():
            if not select.select([fd], [], [], READ_S)[0]:
                return b""
            try:
                report = os.read(fd, REPORT_BYTES)
            except BlockingIOError:
                return b""
        if not report:
            raise PortLost(self.path, "lost: the other end was closed")
        return report

    def write(self, payload: bytes) -> None:
        """Send one report; raises PortLost."""
        fd = self._descriptor()
        with self._loss():
            if not select.select([], [fd], [], WRITE_S)[1]:
                raise PortLost(self.path, f"took no bytes for {WRITE_S:g} s")
            sent = os.write(fd, payload)
        if sent != len(payload):
            raise PortLost(self.path, f"took {sent} of {len(payload)} bytes")

    def discard_input(self) -> None:
        """Forget the reports that have come; raises PortLost."""
        fd = self._descriptor()
        with self._loss():
            for _ in range(MOST_REPORTS):
                if not select.select([fd], [], [], 0)[0]:
                    return
                try:
                    if not os.read(fd, REPORT_BYTES):
                        raise PortLost(self.path, "lost: the other end was closed")
                except BlockingIOError:
                    return

    def close(self) -> None:
        """Close; a second time does nothing."""
        self._own()
        fd, self._fd = self._fd, None
        if fd is not None:
            with contextlib.suppress(OSError):
                os.close(fd)
