"""A scale's side of the SMA conversation (SCP-0499, levels 1 and 2, as other documents quote it).

Commands are ``LF c CR``; ESC ends a repeat. The texts of the about and diagnostics replies are from
memory of the standard's form, with invented contents.
"""

from __future__ import annotations

from simulators import frames
from simulators.scale import BenchScale

LF, CR, ESC = 0x0A, 0x0D, 0x1B
LONGEST_COMMAND = 16
ABOUT = b"\nSMA:2/1.0\r"
MORE_ABOUT = (b"\nMFG:Simulated\r", b"\nMOD:Bench 5 kg\r", b"\nREV:1.0\r", b"\nEND:\r")
DIAGNOSTICS = b"\n    \r"  # four blanks: nothing wrong


class SmaPort:
    """Answers commands for a scale and says what it repeats.

    Args:
        scale: the scale behind the port.
        decimals: digits after the point in its frames.
        repeating: True when it sends without being asked (as after ``LF R CR``).
    """

    def __init__(self, scale: BenchScale, *, decimals: int = 0, repeating: bool = False) -> None:
        self._scale = scale
        self._decimals = decimals
        self._buffer = bytearray()
        self._about = 0
        self.repeating = repeating

    def weight(self, tare_failed: bool = False, zero_failed: bool = False) -> bytes:
        """The present weight as a reply."""
        shown = self._scale.shown()
        status = "T" if tare_failed else "E" if zero_failed else shown.status
        value = None if tare_failed or zero_failed else shown.value_g
        return frames.sma(
            value, decimals=self._decimals, status=status,
            kind="N" if shown.net else "G", motion=shown.motion,
        )  # fmt: skip

    def feed(self, received: bytes) -> list[bytes]:
        """Take bytes from the host; return the replies, in order."""
        replies = []
        for byte in received:
            if byte == ESC:
                self._buffer.clear()
                self.repeating = False
            elif byte == LF:
                self._buffer = bytearray([LF])
            elif self._buffer and byte == CR:
                replies.append(self._answer(bytes(self._buffer[1:])))
                self._buffer.clear()
            elif self._buffer and len(self._buffer) < LONGEST_COMMAND:
                self._buffer.append(byte)
        return replies

    def _answer(self, command: bytes) -> bytes:
        if command != b"B":
            self._about = 0
        if self._scale.asleep:
            self._scale.wake()
        match command:
            case b"W":
                return self.weight()
            case b"R":
                self.repeating = True
                return self.weight()
            case b"Z":
                return self.weight(zero_failed=not self._scale.press_zero())
            case b"T":
                value = self._scale.shown().value_g
                if value is None:
                    return self.weight(tare_failed=True)
                self._scale.press_tare()
                return self.weight()
            case b"C":
                self._scale.clear_tare()
                return self.weight()
            case b"M":
                tare = self._scale.tare_g
                return frames.sma(tare, decimals=self._decimals, kind="T")
            case b"D":
                return DIAGNOSTICS
            case b"A":
                return ABOUT
            case b"B":
                line = MORE_ABOUT[min(self._about, len(MORE_ABOUT) - 1)]
                self._about += 1
                return line
            case _:
                return frames.SMA_BAD_COMMAND
