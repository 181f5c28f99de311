"""A serial line (or a pseudo-terminal) through pyserial."""

from __future__ import annotations

import contextlib
import termios

import serial

from drivers.ports.port import OwnedPort, opening_error

READ_S = 0.05
# A serial line at 300 baud sends 30 characters a second; a command has fewer than ten.
WRITE_S = 1.0
READ_BYTES = 4096


class SerialLine(OwnedPort):
    """A serial line held exclusively; opening it throws away what had come before.

    Args:
        path: lasting path, e.g. below ``/dev/serial/by-id``; a link is followed at each open.
        baud, parity, stop_bits, data_bits: of the line.

    Raises:
        PortMissing: nothing there.
        PortBusy: another program holds it.
        PortDenied: no permission.
        PortLost: it went away meanwhile, or is no terminal.
    """

    def __init__(
        self,
        path: str,
        *,
        baud: int = 9600,
        parity: str = "N",
        stop_bits: int = 1,
        data_bits: int = 8,
    ) -> None:
        super().__init__(path)
        self._serial: serial.Serial | None = None
        try:
            self._serial = serial.Serial(
                path,
                baudrate=baud,
                parity=parity,
                stopbits=stop_bits,
                bytesize=data_bits,
                timeout=READ_S,
                write_timeout=WRITE_S,
                exclusive=True,
            )
        except (OSError, termios.error) as error:
            raise opening_error(path, error) from error
        except ValueError as error:  # a baud rate the system has no word for
            raise opening_error(path, OSError(str(error))) from error

    def _line(self) -> serial.Serial:
        self._own()
        if self._serial is None:
            raise RuntimeError(f"{self.path}: the port is closed")
        return self._serial

    def waiting(self) -> int:
        """How many bytes have come and were not read. Raises PortLost."""
        line = self._line()
        with self._loss():
            return line.in_waiting

    def read(self) -> bytes:
        """What has come, or what comes within `READ_S`; raises PortLost."""
        line = self._line()
        with self._loss():
            # Never readline: it gives half a frame at its time-out, and a trickle without a line
            # end keeps it for ever.
            waiting = line.in_waiting
            piece = line.read(max(1, min(waiting, READ_BYTES)))
            if piece and not waiting:  # the first byte of a frame: the others came with it
                piece += line.read(min(line.in_waiting, READ_BYTES))
            return bytes(piece)

    def write(self, payload: bytes) -> None:
        """Send all of `payload` within `WRITE_S`; raises PortLost."""
        line = self._line()
        with self._loss():
            line.write(payload)

    def discard_input(self) -> None:
        """Forget what has come; raises PortLost."""
        line = self._line()
        with self._loss():
            line.reset_input_buffer()

    def drain(self) -> None:
        """Wait until what was written has left; raises PortLost."""
        line = self._line()
        with self._loss():
            line.flush()

    def close(self) -> None:
        """Close the line without waiting for what it has not sent yet."""
        self._own()
        line, self._serial = self._serial, None
        if line is None:
            return
        # The kernel may hold close() for half a minute while output waits; a lost port refuses.
        with contextlib.suppress(OSError, termios.error):
            line.reset_output_buffer()
        with contextlib.suppress(OSError, termios.error):
            line.close()
