"""The simulated kitchen as a child process, and what it says."""

from __future__ import annotations

import json
import queue
import subprocess
import sys
import threading
from pathlib import Path
from typing import Any

# The one place outside the tests that knows the simulators: it starts them as a program.
KITCHEN = "simulators.kitchen"


class Kitchen:
    """The simulated kitchen's process.

    Args:
        folder: where the instruments' ports and the clock file go.
        random: start value of its randomness.
        weighing_speed, baking_speed: kitchen seconds per second.
        paced: whether a file may slow it down (see `set_pace`).
    """

    def __init__(
        self,
        folder: Path,
        *,
        random: int = 1,
        weighing_speed: float = 10.0,
        baking_speed: float = 90.0,
        paced: bool = False,
    ) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.clock_file = folder / "clock.json"
        self._pace_file = folder / "pace"
        arguments = [
            sys.executable, "-m", KITCHEN, "--dir", str(folder / "ports"),
            "--clock", str(self.clock_file), "--random", str(random),
            "--weighing-speed", str(weighing_speed), "--baking-speed", str(baking_speed),
        ]  # fmt: skip
        if paced:
            self.set_pace(baking_speed)
            arguments += ["--pace", str(self._pace_file)]
        self.process = subprocess.Popen(
            arguments,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            start_new_session=True,
        )
        self.lines: queue.Queue[dict[str, Any] | None] = queue.Queue()
        self._thread = threading.Thread(target=self._read, name="kitchen output")
        self._thread.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.lines.put(json.loads(line))
        self.lines.put(None)

    def ready(self, timeout_s: float = 20.0) -> dict[str, str]:
        """Path of each instrument's port.

        Raises:
            RuntimeError: the kitchen ended before it was ready.
        """
        first = self.lines.get(timeout=timeout_s)
        if first is None or "ready" not in first:
            raise RuntimeError("the simulated kitchen did not start")
        ports: dict[str, str] = first["ready"]
        return ports

    def go(self) -> None:
        """Let kitchen time run."""
        assert self.process.stdin is not None
        self.process.stdin.write("go\n")
        self.process.stdin.flush()

    def set_pace(self, speed: float) -> None:
        """Highest speed allowed from now on; written whole, so that no half number is read."""
        draft = self._pace_file.with_suffix(".new")
        draft.write_text(f"{speed:.1f}", "utf-8")
        draft.replace(self._pace_file)

    def stop(self) -> None:
        """End it, if it has not ended, and wait for its last words."""
        if self.process.poll() is None:
            self.process.terminate()
        try:
            self.process.wait(5)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
        self._thread.join()
        for stream in (self.process.stdin, self.process.stdout):
            if stream is not None:
                stream.close()
