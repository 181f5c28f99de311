"""Commands to an instrument (``tare``, ``zero``) and the answers to them."""

from __future__ import annotations

import logging
import queue
from collections import deque
from collections.abc import Callable
from typing import Any

from drivers.frames import FrameEvent, Parser, Reply, WeightFrame
from drivers.frames.frame import TARE_ERROR, ZERO_ERROR

log = logging.getLogger(__name__)

MOST_WAITING = 16
REMEMBERED = 100
# A scale that does not understand or cannot do it says so at once; no word in this time is consent.
OBJECTION_S = 0.6
NOT_RECOGNISED = "?"

Answer = Callable[[str, bool, str], None]


class Commands:
    """Commands that wait for the owner of the port, and the one whose outcome is awaited.

    Args:
        family: frame family, for words.
        answer: called with the command's id, done or not, and words.
    """

    def __init__(self, family: str, answer: Answer) -> None:
        self._family = family
        self._answer = answer
        self._waiting: queue.Queue[tuple[str, str]] = queue.Queue(MOST_WAITING)
        self._seen: deque[str] = deque(maxlen=REMEMBERED)
        self._open: tuple[str, str, float] | None = None

    def put(self, document: dict[str, Any]) -> None:
        """Take a command from the wire (any thread); one that is repeated counts once."""
        command, command_id = document.get("command"), document.get("id")
        if not isinstance(command, str) or not isinstance(command_id, str) or not command_id:
            log.warning("a command without a name or an id was passed over")
            return
        if command_id in self._seen:
            return
        self._seen.append(command_id)
        try:
            self._waiting.put_nowait((command, command_id))
        except queue.Full:
            self._answer(command_id, False, "too many commands at once; wait and send it again")

    def refuse_all(self, reason: str) -> None:
        """There is no port to send them to."""
        if self._open is not None:
            self._answer(self._open[1], False, reason)
            self._open = None
        while (found := self._next()) is not None:
            self._answer(found[1], False, reason)

    def _next(self) -> tuple[str, str] | None:
        try:
            return self._waiting.get_nowait()
        except queue.Empty:
            return None

    def due(self, parser: Parser, now_s: float) -> bytes | None:
        """Bytes to send for the next command, one command at a time."""
        if self._open is not None or (found := self._next()) is None:
            return None
        command, command_id = found
        encoders = {"tare": parser.tare, "zero": parser.zero}
        if command not in encoders:
            known = ", ".join(encoders)
            self._answer(command_id, False, f"no command {command!r}; there are {known}")
            return None
        payload = encoders[command]()
        if payload is None:
            self._answer(
                command_id,
                False,
                f"instruments of the family {self._family} take no {command} command; "
                "press the key on the instrument",
            )
            return None
        self._open = (command, command_id, now_s + OBJECTION_S)
        return payload

    def hear(self, event: FrameEvent) -> bool:
        """Look whether a frame objects to the open command; True when that closes it."""
        if self._open is None:
            return False
        command, command_id, _ = self._open
        if isinstance(event, Reply) and event.text == NOT_RECOGNISED:
            self._answer(command_id, False, f"the instrument does not know the command {command}")
        elif isinstance(event, WeightFrame) and event.state in (TARE_ERROR, ZERO_ERROR):
            self._answer(command_id, False, f"the instrument refused: {event.state}")
        else:
            return False
        self._open = None
        return True

    def settle(self, now_s: float) -> bool:
        """Close the open command when nothing has objected in time; True when that happens."""
        if self._open is None or now_s < self._open[2]:
            return False
        self._answer(self._open[1], True, "sent; the instrument raised no objection")
        self._open = None
        return True
