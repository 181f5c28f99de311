"""How far an instrument's lane has been sent, and how far the recorder has stored it."""

from __future__ import annotations

import time

from drivers.lanes import Lane


class Course:
    """How far one lane has been sent since the last going back.

    Attributes:
        sent_seq, sent_number: of the newest reading and notice sent.
        stored_seq, stored_number: of the newest known to be stored.
        progress_s: when it last moved on (monotonic clock).
        stalls: goings back in a row without progress.
    """

    def __init__(self, lane: Lane) -> None:
        self.sent_seq = lane.dropped_seq
        self.sent_number = 0
        self.stored_seq = lane.dropped_seq
        self.stored_number = 0
        self.progress_s = time.monotonic()
        self.stalls = 0

    @property
    def is_waiting(self) -> bool:
        """Whether something was sent that is not known to be stored."""
        return self.sent_seq > self.stored_seq or self.sent_number > self.stored_number

    def stored(self, seq: int, number: int) -> bool:
        """Take the recorder's word; False where it is late or repeated."""
        if seq <= self.stored_seq and number <= self.stored_number:
            return False
        self.stored_seq = max(self.stored_seq, seq)
        self.stored_number = max(self.stored_number, number)
        self.sent_seq = max(self.sent_seq, self.stored_seq)
        self.sent_number = max(self.sent_number, self.stored_number)
        self.progress_s, self.stalls = time.monotonic(), 0
        return True

    def go_back(self) -> None:
        """Send again from the first that is not stored."""
        self.sent_seq, self.sent_number = self.stored_seq, self.stored_number
        self.progress_s = time.monotonic()
