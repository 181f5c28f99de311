"""When to ask an instrument that is asked, and which of its answers count.

An answer has no number: one that comes past its deadline would be taken for the answer to the next
question, and from then on every reading would be one question old. So after a missed answer one
interval is quiet: nothing is asked, whatever comes is discarded, and the line is emptied.
"""

from __future__ import annotations

import enum

ANSWER_WITHIN_S = 1.0


class Ask(enum.Enum):
    """What is to be done now."""

    NOTHING = "nothing"
    QUESTION = "question"
    EMPTY_THEN_QUESTION = "empty the line, then question"


class Polling:
    """The questions to one instrument; time comes in as monotonic seconds.

    Args:
        interval_s: from question to question; an instrument that answers slower is asked slower.
        answer_within_s: deadline of an answer.

    Attributes:
        missed: questions without an answer in time.
        discarded: frames that came unasked or too late.

    >>> polling = Polling(0.2)
    >>> polling.due(10.0)
    <Ask.QUESTION: 'question'>
    >>> polling.takes_frame(10.1), polling.due(10.15), polling.due(10.2)
    (True, <Ask.NOTHING: 'nothing'>, <Ask.QUESTION: 'question'>)
    """

    def __init__(self, interval_s: float, answer_within_s: float = ANSWER_WITHIN_S) -> None:
        self._interval_s = interval_s
        self._answer_within_s = answer_within_s
        self._asked_s: float | None = None
        self._next_s = float("-inf")
        self._quiet = False
        self.missed = 0
        self.discarded = 0

    def due(self, now_s: float) -> Ask:
        """What is to be done at `now_s`; a question counts as asked then."""
        if self._asked_s is not None:
            if now_s - self._asked_s < self._answer_within_s:
                return Ask.NOTHING
            self._asked_s = None
            self._quiet = True
            self._next_s = now_s + max(self._interval_s, self._answer_within_s)
            self.missed += 1
        if now_s < self._next_s:
            return Ask.NOTHING
        what = Ask.EMPTY_THEN_QUESTION if self._quiet else Ask.QUESTION
        self._quiet = False
        self._asked_s = now_s
        self._next_s = now_s + self._interval_s
        return what

    def takes_frame(self, now_s: float) -> bool:
        """True when a frame that came at `now_s` answers the open question; else discard it."""
        if self._asked_s is None or now_s - self._asked_s >= self._answer_within_s:
            self.discarded += 1
            return False
        self._asked_s = None
        return True
