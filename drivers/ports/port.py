"""What every port can do, and the few ways in which it fails."""

from __future__ import annotations

import errno
import termios
import threading
from abc import ABC, abstractmethod
from collections.abc import Iterator
from contextlib import contextmanager
from types import TracebackType
from typing import Protocol, Self

# What the system calls a path that names nothing (any longer).
MISSING = {errno.ENOENT, errno.ENXIO, errno.ENODEV, errno.ENOTDIR, errno.ELOOP}
# EAGAIN is the answer of flock() where somebody else holds the lock.
BUSY = {errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK}
DENIED = {errno.EACCES, errno.EPERM, errno.EROFS}


class PortError(OSError):
    """A port that cannot be used.

    Attributes:
        path: the lasting path by which it was opened.
        reason: what happened, in words.
    """

    remedy = ""

    def __init__(self, path: str, reason: str) -> None:
        super().__init__(f"{path}: {reason}{self.remedy}")
        self.path = path
        self.reason = reason

    def __reduce__(self) -> tuple[type[PortError], tuple[str, str]]:
        return (type(self), (self.path, self.reason))


class PortMissing(PortError):
    """Nothing stands at the path: unplugged, or never plugged in."""

    remedy = "; plug the instrument in, or correct its port in the configuration"


class PortBusy(PortError):
    """Another program holds the port; two readers would each get half the bytes."""

    remedy = "; close the other program that reads this port"


class PortDenied(PortError):
    """The system does not let this user open the port."""

    remedy = "; give this user access to the device (often membership of the group dialout)"


class PortLost(PortError):
    """The port was open and is gone, or it broke while it was being opened."""


class Port(Protocol):
    """An open port. All calls belong to the thread that opened it."""

    path: str

    def read(self) -> bytes:
        """What has come, at most `READ_S` later; empty when nothing has.

        Raises:
            PortLost: the port is gone.
        """
        ...

    def write(self, payload: bytes) -> None:
        """Send all of `payload`. Raises PortLost."""
        ...

    def discard_input(self) -> None:
        """Forget what has come and was not read yet. Raises PortLost."""
        ...

    def close(self) -> None:
        """Close; a second time does nothing."""
        ...

    def __enter__(self) -> Self: ...

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None: ...


class OwnedPort(ABC):
    """The part that all ports share: one owner thread, a context manager, errors told apart."""

    def __init__(self, path: str) -> None:
        self.path = path
        self._owner = threading.get_ident()

    @abstractmethod
    def close(self) -> None:
        """Give the port back; only its owner thread does."""

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        self.close()

    def _own(self) -> None:
        """Closing under another thread's read is not safe on POSIX, so it is not allowed at all.

        Raises:
            RuntimeError: called by a thread that did not open the port.
        """
        if threading.get_ident() != self._owner:
            raise RuntimeError(f"{self.path}: only the thread that opened a port may use it")

    @contextmanager
    def _loss(self) -> Iterator[None]:
        """Whatever a system call or pyserial raises is one `PortLost`.

        SerialException is an OSError; `in_waiting` raises a bare OSError and flushing a
        termios.error, which is neither.
        """
        try:
            yield
        except (OSError, termios.error) as error:
            if isinstance(error, PortError):
                raise
            raise PortLost(self.path, f"lost: {error}") from error


def opening_error(path: str, error: OSError | termios.error) -> PortError:
    """The port error that says what stood in the way of opening `path`."""
    number = getattr(error, "errno", None)
    if number in MISSING:
        return PortMissing(path, "no such port")
    if number in BUSY:
        return PortBusy(path, "in use by another program")
    if number in DENIED:
        return PortDenied(path, "not permitted")
    return PortLost(path, f"cannot be opened: {error}")
