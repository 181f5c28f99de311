"""Exit codes and how a failure is told on the command line.

0 done · 1 a fault of ours, with its traceback · 2 the command's words are off ·
3 a file cannot be used (it names file, line and remedy) · 4 something needed is missing or busy
(broker, port, store) · 130 stopped by Ctrl-C
"""

from __future__ import annotations

import click

UNUSABLE_FILE = 3
MISSING_OR_BUSY = 4


class UnusableFile(click.ClickException):
    """A file that cannot be used; its message names file, line and remedy."""

    exit_code = UNUSABLE_FILE


class MissingOrBusy(click.ClickException):
    """Something needed is not there, or somebody else holds it."""

    exit_code = MISSING_OR_BUSY
