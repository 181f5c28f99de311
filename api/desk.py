"""What a person sends: marks, repeated until the store shows them, and commands, until answered."""

from __future__ import annotations

import logging
import threading
import uuid
from collections.abc import Mapping
from typing import Any

from api.marks import MarkRefused, MarkSender, NotStored
from api.refusal import Refusal
from drivers.clock import Clock
from drivers.mqtt import NotAnObject, Wire, decode
from drivers.reading import seconds
from drivers.topics import Topics
from logger.store import Reader

log = logging.getLogger(__name__)

WAIT_S = 5.0


class Desk:
    """Sends marks and commands over the wire and waits for what became of them."""

    def __init__(
        self, wire: Wire, topics: Topics, reader: Reader, clock: Clock, wait_s: float = WAIT_S
    ) -> None:
        self._wire = wire
        self._topics = topics
        self._reader = reader
        self._clock = clock
        self._wait_s = wait_s
        self._marks = MarkSender(wire, topics, reader)
        self._closing = threading.Event()
        self._answers: dict[str, dict[str, Any]] = {}
        self._waiting: set[str] = set()
        self._answered = threading.Condition()
        wire.subscribe(topics.answers("+"), self._on_answer)

    def close(self) -> None:
        """Let nobody wait any longer."""
        self._closing.set()
        with self._answered:
            self._answered.notify_all()

    def mark(self, document: Mapping[str, Any]) -> tuple[str, int]:
        """Send one mark; gives its id and its position in the log.

        Raises:
            Refusal: 422 when the recorder refused it, 503 when the store does not show it in time.
        """
        body = {"t": seconds(self._clock.now_us()), **document}
        try:
            stored = self._marks.send(body, self._wait_s, given_up=self._closing.is_set)
        except MarkRefused as error:
            raise Refusal(
                422, f"The mark was refused: {error}.", "Correct it and send it again."
            ) from error
        except NotStored as error:
            raise Refusal(
                503,
                f"The mark is not in the log: {error}.",
                "See that recorder and broker run, then send it again with the same id.",
            ) from error
        pos = self._reader.mark_pos(stored["id"])
        assert pos is not None  # it was there a moment ago, and the log only grows
        return str(stored["id"]), pos

    def command(self, instrument: str, command: str) -> dict[str, Any]:
        """Send one command; gives the instrument's answer.

        Raises:
            Refusal: 409 when the instrument says no, 503 when it does not answer in time.
        """
        command_id = uuid.uuid4().hex
        document = {
            "command": command,
            "t": seconds(self._clock.now_us()),
            "instrument": instrument,
            "id": command_id,
        }
        self._waiting.add(command_id)
        try:
            sent = self._wire.publish_json(self._topics.commands(instrument), document)
            with self._answered:
                self._answered.wait_for(
                    lambda: command_id in self._answers or self._closing.is_set(),
                    self._wait_s if sent else 0.0,
                )
                answer = self._answers.pop(command_id, None)
        finally:
            self._waiting.discard(command_id)
        if answer is None:
            raise Refusal(
                503,
                f"{instrument} does not answer.",
                "See that it is switched on and its driver is running, or press its own key.",
            )
        if answer.get("done") is not True:
            why = str(answer.get("text") or "it gave no reason")
            raise Refusal(409, f"{instrument} did not {command}: {why}.", "Press its own key.")
        return answer

    def _on_answer(self, _topic: str, payload: bytes, _retained: bool) -> None:
        try:
            document = decode(payload)
        except NotAnObject as error:
            log.warning("an answer was refused: %s", error)
            return
        with self._answered:
            if (key := str(document.get("answer"))) in self._waiting:
                self._answers[key] = document
                self._answered.notify_all()
