"""The broker: the configured one, a mosquitto found here, or the embedded one, as a child.

Which of them it is decides nothing but speed: what must not be lost is kept by the drivers until
the recorder has stored it. A child listens on loopback only, in a process of its own, and ends
with its parent, however that ends.
"""

from __future__ import annotations

import argparse
import asyncio
import ctypes
import logging
import os
import shutil
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from drivers.config import BrokerConfig
from drivers.mqtt import BrokerAddress

log = logging.getLogger(__name__)

HOST = "127.0.0.1"
# Debian puts daemons where a user's PATH does not look.
BESIDES_PATH = ("/usr/sbin", "/usr/local/sbin", "/opt/homebrew/sbin")
# Past it mosquitto drops the newest of what waits for one client; the default of 1000 is soon full.
MAX_QUEUED_MESSAGES = 100_000
READY_S = 10.0
Kind = Literal["configured", "mosquitto", "embedded"]


class BrokerError(RuntimeError):
    """No broker could be started or found; says why and what to do."""


@dataclass(slots=True)
class RunningBroker:
    """A broker that accepts connections.

    Attributes:
        address: where.
        kind: ``configured`` (somebody else's), ``mosquitto`` or ``embedded`` (a child of ours).
        process: the child; None when configured.
    """

    address: BrokerAddress
    kind: Kind
    process: subprocess.Popen[bytes] | None = None
    _log_path: Path | None = field(default=None, repr=False)

    def stop(self, timeout_s: float = 2.0) -> None:
        """End the child, by force when it does not end in time. May be repeated."""
        if self.process is None:
            return
        if self.process.poll() is None:
            self.process.terminate()
            try:
                self.process.wait(timeout_s)
            except subprocess.TimeoutExpired:
                self.process.kill()
        self.process.wait()

    def log_text(self) -> str:
        """What the child wrote, its end; '' when configured."""
        if self._log_path is None or not self._log_path.exists():
            return ""
        return self._log_path.read_text("utf-8", errors="replace")[-4000:]


def start(config: BrokerConfig, folder: Path) -> RunningBroker:
    """Find or start the broker and wait until it accepts connections.

    Args:
        config: ``url`` is ``auto``, ``mosquitto``, ``embedded`` or ``mqtt://…``.
        folder: where a child keeps its configuration, its log and its retained messages.

    Raises:
        BrokerError: none can be had.
    """
    if config.url.startswith("mqtt:"):
        try:
            return RunningBroker(BrokerAddress.parse(config.url), "configured")
        except ValueError as error:
            raise BrokerError(str(error)) from error
    if config.url not in ("auto", "mosquitto", "embedded"):
        raise BrokerError(
            f"broker url {config.url!r} is not understood; "
            "write auto, mosquitto, embedded or mqtt://host:1883"
        )
    found = find_mosquitto() if config.url != "embedded" else None
    if found is None and config.url == "mosquitto":
        raise BrokerError('no mosquitto was found; install it, or write url = "embedded"')
    folder.mkdir(parents=True, exist_ok=True)
    port = config.port or free_port()
    if config.port and _is_taken(port):
        raise BrokerError(
            f"port {port} of {HOST} is taken by another program; end it, or set [broker] port = 0"
        )
    if found is not None:
        conf = folder / "mosquitto.conf"
        conf.write_text(mosquitto_config(port, folder), "utf-8")
        command = [found, "-c", str(conf)]
        return _child("mosquitto", command, port, folder / "broker.log")
    command = [sys.executable, "-m", "logger.broker", "--embedded", "--port", str(port)]
    return _child("embedded", command, port, folder / "broker.log")


def find_mosquitto() -> str | None:
    """Path of a mosquitto on this machine, None without one."""
    path = os.pathsep.join([os.environ.get("PATH", os.defpath), *BESIDES_PATH])
    return shutil.which("mosquitto", path=path)


def free_port() -> int:
    """A loopback port that is free now."""
    with socket.socket() as probe:
        probe.bind((HOST, 0))
        return int(probe.getsockname()[1])


def _is_taken(port: int) -> bool:
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, port))
        except OSError:
            return True
    return False


def mosquitto_config(port: int, folder: Path) -> str:
    """The configuration of a mosquitto child: loopback, retained messages saved every second."""
    lines = [
        f"listener {port} {HOST}",
        "allow_anonymous true",  # loopback only: whoever is on the machine is in the kitchen
        "set_tcp_nodelay true",
        "persistence true",
        f"persistence_location {folder.absolute()}/",
        "persistence_file mosquitto.db",
        # By default it is saved every half hour: a power cut then loses every retained message.
        # Saving at each change would lose none, but syncs the whole file for every reading that
        # passes, and carries a fifth as many. What the last second may lose is said again by
        # drivers and recorder when they reconnect.
        "autosave_interval 1",
        "autosave_on_changes false",
        f"max_queued_messages {MAX_QUEUED_MESSAGES}",
        "log_dest stderr",
        "log_type error",
        "log_type warning",
        "log_type notice",
    ]
    if os.geteuid() == 0:
        # Started as root mosquitto would become another user, to whom the folder is closed.
        lines.append("user root")
    return "\n".join(lines) + "\n"


def _child(kind: Kind, command: list[str], port: int, log_path: Path) -> RunningBroker:
    with log_path.open("wb") as output:
        try:
            process = subprocess.Popen(
                command,
                stdin=subprocess.DEVNULL,
                stdout=output,
                stderr=subprocess.STDOUT,
                preexec_fn=_end_with_parent(),
                env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))},
            )
        except OSError as error:
            raise BrokerError(f"{command[0]} cannot be started: {error}") from error
    running = RunningBroker(BrokerAddress(HOST, port), kind, process, log_path)
    deadline = time.monotonic() + READY_S
    while time.monotonic() < deadline:
        if process.poll() is not None:
            break
        if accepts(running.address):
            log.info("the %s broker listens on port %d", kind, port)
            return running
        threading.Event().wait(0.02)
    running.stop(0.5)
    said = running.log_text().strip().splitlines()[-3:] or ["it said nothing"]
    raise BrokerError(
        f"the {kind} broker does not answer on port {port} of {HOST}: {' / '.join(said)}"
    )


def accepts(address: BrokerAddress, timeout_s: float = 1.0) -> bool:
    """Whether a broker answers there: a CONNECT gets its CONNACK (MQTT 3.1.1, section 3.2)."""
    name = f"coolcrumb-{os.getpid()}".encode()
    variable = b"\x00\x04MQTT\x04\x02\x00\x0a" + len(name).to_bytes(2, "big") + name
    try:
        with socket.create_connection((address.host, address.port), timeout_s) as probe:
            probe.sendall(bytes([0x10, len(variable)]) + variable)
            answer = probe.recv(4)
            probe.sendall(b"\xe0\x00")
    except OSError:
        return False
    return answer[:1] == b"\x20"


def _end_with_parent() -> Callable[[], None] | None:
    """What makes the child end with this process (Linux only; elsewhere `stop` must do)."""
    if not sys.platform.startswith("linux"):
        return None
    prctl = ctypes.CDLL(None, use_errno=True).prctl
    parent = os.getpid()

    def ask() -> None:
        prctl(1, signal.SIGKILL)  # PR_SET_PDEATHSIG, linux/prctl.h
        if os.getppid() != parent:
            os.kill(os.getpid(), signal.SIGKILL)  # the parent ended in between

    return ask


async def _embedded(port: int) -> None:
    from amqtt.broker import Broker

    settings = {
        "listeners": {
            "default": {"type": "tcp", "bind": f"{HOST}:{port}", "max_connections": 1000}
        },
        "plugins": {
            "amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True},
        },
    }
    broker = Broker(settings)
    await broker.start()
    ended = asyncio.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        asyncio.get_running_loop().add_signal_handler(number, ended.set)
    await ended.wait()
    await broker.shutdown()


def main(argv: list[str] | None = None) -> int:
    """Run the embedded broker in this process until SIGTERM."""
    parser = argparse.ArgumentParser(prog="python -m logger.broker", description=__doc__)
    parser.add_argument("--embedded", action="store_true", required=True)
    parser.add_argument("--port", type=int, required=True)
    arguments = parser.parse_args(argv)
    logging.basicConfig(level=logging.WARNING, stream=sys.stderr)
    asyncio.run(_embedded(arguments.port))
    return 0


if __name__ == "__main__":
    sys.exit(main())
