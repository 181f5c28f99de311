"""`WithRemedy`: an error for the person at the bench: what is wrong, and what to do about it."""

from __future__ import annotations

from typing import Self


class WithRemedy(ValueError):
    """An error that says what is wrong and what to write or do instead.

    Attributes:
        what: what is wrong.
        remedy: what to do.
    """

    def __init__(self, what: str, remedy: str) -> None:
        super().__init__(f"{what}; {remedy}")
        self.what = what
        self.remedy = remedy

    def __reduce__(self) -> tuple[type[Self], tuple[str, str]]:
        return (type(self), (self.what, self.remedy))
