"""Starts the pieces as children, starts again what dies, stops all of them together.

Each piece is a program of its own; between them there is only MQTT and the store. A child that dies
is started again with a growing pause and counted, never silently; the children end with their
parent, also when that is killed.
"""

from __future__ import annotations

import ctypes
import logging
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

log = logging.getLogger(__name__)

PR_SET_PDEATHSIG = 1
FIRST_PAUSE_S = 0.3
LONGEST_PAUSE_S = 10.0
# A child that ran this long was well; its next death begins with the first pause again.
WELL_AFTER_S = 30.0
STOP_WITHIN_S = 6.0


def _die_with_parent() -> None:
    """Runs in the child before exec: the kernel ends it when its parent goes (Linux)."""
    ctypes.CDLL(None, use_errno=True).prctl(PR_SET_PDEATHSIG, signal.SIGTERM, 0, 0, 0)


@dataclass(slots=True)
class Piece:
    """One child.

    Attributes:
        name: as people say it: drivers, recorder, page.
        arguments: command line after the Python interpreter.
        restarts: how often it was started again.
    """

    name: str
    arguments: Sequence[str]
    process: subprocess.Popen[bytes] | None = None
    restarts: int = 0
    started_s: float = 0.0
    pause_s: float = FIRST_PAUSE_S
    due_s: float = 0.0
    exits: list[int] = field(default_factory=list)


class Supervisor:
    """Keeps pieces running until `stop`.

    Args:
        log_folder: where each piece's output goes, a file a piece; None leaves it on stderr.
        on_death: called with the piece's name and exit code, on the supervisor's thread.
    """

    def __init__(
        self,
        log_folder: Path | None = None,
        on_death: Callable[[str, int], None] | None = None,
    ) -> None:
        self._log_folder = log_folder
        self._on_death = on_death
        self._pieces: list[Piece] = []
        self._lock = threading.Lock()
        self._stopping = threading.Event()
        # Starting from one thread that lives as long as the supervisor: the parent-death signal
        # is tied to the thread that forks.
        self._thread = threading.Thread(target=self._watch, name="supervisor")

    def add(self, name: str, *arguments: str) -> Piece:
        """Add a piece, e.g. ``add("recorder", "-m", "logger.recorder", …)``; started at once."""
        piece = Piece(name, arguments)
        with self._lock:
            self._pieces.append(piece)
        if not self._thread.is_alive() and not self._stopping.is_set():
            self._thread.start()
        return piece

    @property
    def pieces(self) -> list[Piece]:
        with self._lock:
            return list(self._pieces)

    def restart(self, name: str) -> None:
        """End one piece kindly; the supervisor starts it again (a changed configuration)."""
        for piece in self.pieces:
            if piece.name == name and piece.process is not None:
                piece.process.terminate()

    def _start(self, piece: Piece) -> None:
        output = None
        if self._log_folder is not None:
            output = (self._log_folder / f"{piece.name}.log").open("ab")
        try:
            piece.process = subprocess.Popen(
                [sys.executable, *piece.arguments],
                stdin=subprocess.DEVNULL,
                stdout=output,
                stderr=output,
                start_new_session=True,  # Ctrl-C reaches the parent only, which stops in order
                preexec_fn=_die_with_parent,
            )
        finally:
            if output is not None:
                output.close()
        piece.started_s = time.monotonic()

    def _watch(self) -> None:
        while not self._stopping.is_set():
            now = time.monotonic()
            for piece in self.pieces:
                if piece.process is None:
                    if now >= piece.due_s:
                        self._start(piece)
                    continue
                code = piece.process.poll()
                if code is None:
                    continue
                if now - piece.started_s > WELL_AFTER_S:
                    piece.pause_s = FIRST_PAUSE_S
                piece.exits.append(code)
                piece.restarts += 1
                piece.process = None
                piece.due_s = now + piece.pause_s
                piece.pause_s = min(piece.pause_s * 2, LONGEST_PAUSE_S)
                log.warning("%s ended with code %s; starting it again", piece.name, code)
                if self._on_death is not None:
                    self._on_death(piece.name, code)
            self._stopping.wait(0.05)
        self._end_all()

    def _end_all(self) -> None:
        # In the order of the flow: the drivers first, so that the recorder can take the rest.
        running = [p for p in self.pieces if p.process is not None]
        for piece in running:
            assert piece.process is not None
            piece.process.terminate()
            if piece.name == "drivers":
                _wait(piece.process, STOP_WITHIN_S)
        for piece in running:
            assert piece.process is not None
            if not _wait(piece.process, STOP_WITHIN_S):
                log.warning("%s did not stop in %.0f s; killing it", piece.name, STOP_WITHIN_S)
                os.killpg(piece.process.pid, signal.SIGKILL)
                piece.process.wait()

    def stop(self) -> None:
        """Stop every piece; idempotent, bounded in time."""
        self._stopping.set()
        if self._thread.is_alive():
            self._thread.join()


def _wait(process: subprocess.Popen[bytes], timeout_s: float) -> bool:
    try:
        process.wait(timeout_s)
    except subprocess.TimeoutExpired:
        return False
    return True
