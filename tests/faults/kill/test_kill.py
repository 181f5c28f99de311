"""kill -9 of recorder, drivers, broker and page at random moments: the arithmetic stays whole.

Real pseudo-terminals, real processes, both brokers, real SQLite. After all kills:
numbered in the outbox = stored + declared missing, none twice; what the simulator wrote while
nobody held the port lies inside a recorded gap; the events are those of a replay of the log.
"""

import json
import os
import random
import signal
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest

from drivers.config import BrokerConfig
from drivers.mqtt import BrokerAddress, Wire
from drivers.reading import seconds
from drivers.topics import Topics
from logger import broker
from logger.conclusions import start, start_from
from logger.entries import Gap
from logger.planfile import plan_from_document
from logger.replay import replay
from logger.store import Reader, StoreError

SOAK = bool(os.environ.get("COOLCRUMB_SOAK"))
KILLS = 20 if SOAK else 3
INSTRUMENTS, RATE_HZ = 3, 20
KITCHEN = "kill-check"


class Process:
    """A piece that can be killed and started again."""

    def __init__(self, name, arguments, folder):
        self.name, self.arguments, self.folder = name, arguments, folder
        self.process = None
        self.start()

    def start(self):
        with (self.folder / f"{self.name}.log").open("ab") as output:
            self.process = subprocess.Popen(
                [sys.executable, *self.arguments],
                stdin=subprocess.DEVNULL, stdout=output, stderr=output,
            )  # fmt: skip

    def kill(self):
        self.process.kill()
        self.process.wait()

    def stop(self):
        if self.process.poll() is None:
            self.process.terminate()
            try:
                self.process.wait(8)
            except subprocess.TimeoutExpired:
                self.kill()


class Broker:
    """A broker at a fixed port that can be killed and started again."""

    def __init__(self, kind, folder):
        self.config = BrokerConfig(url=kind, port=broker.free_port())
        self.folder = folder
        self.running = broker.start(self.config, folder)

    @property
    def url(self):
        return self.running.address.url

    def kill(self):
        self.running.process.kill()
        self.running.process.wait()

    def start(self):
        self.running = broker.start(self.config, self.folder)

    def stop(self):
        self.running.stop()


def wait_until(condition, deadline_s, what):
    end = time.monotonic() + deadline_s
    while time.monotonic() < end:
        if condition():
            return
        time.sleep(0.05)
    pytest.fail(f"not within {deadline_s} s: {what}")


def waiting_in_outbox(path):
    with sqlite3.connect(f"file:{path}?mode=ro", uri=True) as connection:
        (readings,) = connection.execute("SELECT count(*) FROM reading").fetchone()
        (notices,) = connection.execute("SELECT count(*) FROM notice").fetchone()
    return readings + notices


def lanes(path):
    with sqlite3.connect(f"file:{path}?mode=ro", uri=True) as connection:
        return dict(connection.execute("SELECT instrument, next_seq - 1 FROM lane"))


def open_batch(url, folder, channels):
    from api.marks import MarkSender

    reader = Reader(folder)
    wire = Wire(BrokerAddress.parse(url), "kill-check-person")
    wire.start()
    try:
        MarkSender(wire, Topics(KITCHEN), reader).send(
            {"mark": "open batch", "t": time.time(), "batch": "killed",
             "plan": {"channels": channels}, "formulas": []},
            timeout_s=20,
        )  # fmt: skip
    finally:
        wire.stop()
        reader.close()


@pytest.fixture
def kitchen(tmp_path):
    ports = tmp_path / "ports"
    process = subprocess.Popen(
        [sys.executable, "-m", "simulators.stream", "--dir", str(ports), "--instruments",
         str(INSTRUMENTS), "--rate", str(RATE_HZ), "--family", "value-unit"],
        stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    ready = json.loads(process.stdout.readline())["ready"]
    yield process, ready
    if process.poll() is None:
        process.kill()
    process.wait()
    process.stdout.close()


def configure(folder, ports):
    lines = [f'kitchen = "{KITCHEN}"', "[serve]", "port = 0"]
    for name, path in ports.items():
        lines += [
            "[[instrument]]", f'name = "{name}"', 'family = "value-unit"', f'port = "{path}"',
            'channel = "mass"',
        ]  # fmt: skip
    path = folder / "coolcrumb.toml"
    path.write_text("\n".join(lines), "utf-8")
    return path


@pytest.mark.parametrize("kind", ["mosquitto", "embedded"])
@pytest.mark.timeout(3000 if SOAK else 240)
def test_nothing_is_lost_or_doubled_whoever_is_killed(tmp_path, kitchen, kind):
    simulator, ports = kitchen
    chance = random.Random(20 if kind == "mosquitto" else 21)
    config_file = configure(tmp_path, ports)
    messages = Broker(kind, tmp_path)
    common = ["--config", str(config_file), "--broker", messages.url, "--folder", str(tmp_path)]
    pieces = {
        name: Process(name, ["-m", module, *common], tmp_path)
        for name, module in (
            ("recorder", "logger.recorder"), ("drivers", "drivers.daemon"), ("page", "api.serve"),
        )
    }  # fmt: skip
    outbox = tmp_path / "outbox.sqlite"
    try:
        roles = {f"{name}/mass": f"scale {i}" if i else "scale" for i, name in enumerate(ports)}
        wait_until((tmp_path / "coolcrumb.db").exists, 20, "the store is made")
        open_batch(messages.url, tmp_path, roles)

        order = [name for name in (*pieces, "broker") for _ in range(KILLS)]
        chance.shuffle(order)
        for name in order:
            time.sleep(chance.uniform(0.4, 1.6))
            victim = messages if name == "broker" else pieces[name]
            victim.kill()
            time.sleep(chance.uniform(0.0, 0.4))
            victim.start()
        before = sum(lanes(outbox).values())
        wait_until(lambda: sum(lanes(outbox).values()) > before + 60, 30, "readings flow again")

        simulator.send_signal(signal.SIGTERM)
        frames = json.loads(simulator.stdout.read().splitlines()[-1])["frames"]
        wait_until(lambda: waiting_in_outbox(outbox) == 0, 60, "all that was read is stored")
        numbered = lanes(outbox)
    finally:
        for piece in pieces.values():
            piece.stop()
        messages.stop()

    codes = {name: piece.process.returncode for name, piece in pieces.items()}
    # A clean end, or (uvicorn) the signal itself after a clean end.
    assert not set(codes.values()) - {0, -signal.SIGTERM}, codes
    check_the_arithmetic(tmp_path, numbered, frames)
    check_the_replay(tmp_path)


def check_the_arithmetic(folder: Path, numbered, frames):
    with sqlite3.connect(folder / "coolcrumb.db") as connection:
        stored = {
            name: connection.execute(
                "SELECT count(l.seq), count(DISTINCT l.seq), max(l.seq) FROM log l"
                " JOIN channel c ON c.id = l.channel WHERE c.instrument = ? AND l.kind = 'reading'",
                (name,),
            ).fetchone()
            for name in numbered
        }
    reader = Reader(folder)
    gaps = [entry for _pos, entry in reader.log_entries() if isinstance(entry, Gap)]
    reader.close()
    for name, last in numbered.items():
        own = [gap for gap in gaps if gap.instrument == name]
        declared = sum(gap.last - gap.first + 1 for gap in own if gap.first is not None)
        count, distinct, newest = stored[name]
        assert count == distinct, f"{name}: a reading is stored twice"
        assert count + declared == last, f"{name}: stored + declared missing = numbered"
        assert newest <= last
        # What was written while nobody held the port lies inside a recorded gap (or before the
        # first reading, when nobody had opened it yet).
        with sqlite3.connect(folder / "coolcrumb.db") as connection:
            (first_us,) = connection.execute(
                "SELECT min(l.t_us) FROM log l JOIN channel c ON c.id = l.channel"
                " WHERE c.instrument = ?", (name,),
            ).fetchone()  # fmt: skip
            (last_us,) = connection.execute(
                "SELECT max(l.t_us) FROM log l JOIN channel c ON c.id = l.channel"
                " WHERE c.instrument = ?", (name,),
            ).fetchone()  # fmt: skip
        for from_s, to_s in frames[name]["unheld_spans"]:
            if to_s <= seconds(first_us) or from_s >= seconds(last_us):
                continue
            assert any(
                seconds(gap.from_us) <= from_s + 0.06 and to_s - 0.06 <= seconds(gap.to_us)
                for gap in own
            ), f"{name}: nobody held the port {from_s} to {to_s}, and no gap says so"


def check_the_replay(folder: Path):
    reader = Reader(folder)
    try:
        plan = reader.plan_entry("killed")
        assert plan is not None
        entries = (e for _pos, e in reader.entries("killed", plan_from_document(plan.document)))
        again = [event.to_json() for event in replay(entries, None, start, start_from)]
        live = [row.document for row in reader.events("killed")]
        assert not reader.engine_errors("killed")
    except StoreError as error:
        pytest.fail(str(error))
    finally:
        reader.close()
    assert live, "the batch concluded something"
    assert again == live
