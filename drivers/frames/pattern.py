"""Regular expressions of frame descriptions: is one safe to run, how does its frame begin.

A backtracking matcher can be made to take ages over a damaged frame. Two things keep that away:
the shape that does it soonest (a repeated group that itself repeats or chooses) is refused, and
what else there is shows when the pattern is tried on awkward frames of growing length. That is a
trial, not a proof; the longest length of a frame bounds what remains.
"""

from __future__ import annotations

import re
import time
from collections.abc import Sequence

# A sound pattern answers within microseconds; one that blows up passes this a length or two later.
TRIAL_BUDGET_S = 0.05
TRIAL_LENGTHS = (8, 12, 16, 20, 24, 32, 48, 64, 96, 128, 192)
FILLS = ("0", " ", "a", "+", "-", "0.", "0 ")
SPECIAL = set(".^$*+?{}[]\\|()")


def too_slow_at(patterns: Sequence[re.Pattern[str]], prefix: str, longest: int) -> int | None:
    """The length of a damaged frame over which one of the patterns takes too long, or None.

    Args:
        patterns: to be tried.
        prefix: what a frame begins with, so that the trial gets past it.
        longest: length of the longest frame.
    """
    for length in (*TRIAL_LENGTHS, longest):
        for fill in (*FILLS, prefix or "0"):
            frame = (prefix + fill * length)[: length - 1] + "\0"
            for pattern in patterns:
                # The least of three, so that a busy machine does not speak against a pattern.
                if all(_takes_too_long(pattern, frame) for _ in range(3)):
                    return length
    return None


def _takes_too_long(pattern: re.Pattern[str], frame: str) -> bool:
    begun = time.perf_counter()
    pattern.fullmatch(frame)
    return time.perf_counter() - begun > TRIAL_BUDGET_S


def literal_beginning(pattern: str) -> bytes:
    """The characters every match visibly begins with.

    >>> literal_beginning(r"^!w=(?P<value>\\d+)$")
    b'!w='
    """
    text = pattern.removeprefix("^")
    end = 0
    while end < len(text) and text[end] not in SPECIAL:
        end += 1
    if end < len(text) and text[end] in "*+?{":
        end -= 1
    if _has_top_level_alternative(text):
        return b""
    return text[: max(end, 0)].encode("latin-1", "ignore")


def _tokens(pattern: str) -> list[str]:
    """Escapes, classes and counts as one token each, the rest character by character."""
    return re.findall(
        r"\\.|\[\^?\]?(?:\\.|[^\]\\])*\]|\{\d*,?\d*\}|\(\?P<\w+>|\(\?[:=!]|.", pattern, re.S
    )


def _has_top_level_alternative(pattern: str) -> bool:
    depth = 0
    for token in _tokens(pattern):
        if token.startswith("("):
            depth += 1
        elif token == ")":
            depth -= 1
        elif token == "|" and depth == 0:
            return True
    return False


def nested_repetition(pattern: str) -> str | None:
    """A group repeated more than once that holds a repetition or alternatives, or None.

    >>> nested_repetition(r"(?:\\d+,)+")
    '(?:\\\\d+,)+'
    >>> nested_repetition(r"\\d+(?:\\.\\d+)?")
    """
    tokens = _tokens(pattern)
    open_groups: list[tuple[int, bool]] = []
    holds = False
    for at, token in enumerate(tokens):
        repeats = (
            token in "*+" or re.fullmatch(r"\{\d+,\}|\{,?\d+\}|\{\d+,\d+\}", token) is not None
        )
        if token.startswith("("):
            open_groups.append((at, holds))
            holds = False
        elif token == ")" and open_groups:
            begun, outer = open_groups.pop()
            after = tokens[at + 1] if at + 1 < len(tokens) else ""
            many = after in ("*", "+") or (after.startswith("{") and after not in ("{0,1}", "{1}"))
            if many and holds:
                return "".join(tokens[begun : at + 2])
            holds = holds or outer or many
        elif token == "|" or (repeats and not re.fullmatch(r"\{\d+\}", token)):
            holds = True
    return None
