"""Marks are answered 201 only when the log shows them, commands when the instrument did it."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from fabricated_log import FORMULA, PLAN
from served import TOPICS, Listener, Served, publisher, wait_for

from api.desk import Desk
from api.refusal import Refusal
from drivers.clock import SystemClock
from drivers.mqtt import decode
from logger.broker import RunningBroker
from logger.store import Reader

Serve = Callable[[str | None], Served]


def opened(serve: Serve) -> tuple[Served, str]:
    """A kitchen with the real recorder, and a batch opened over HTTP."""
    served = serve(None)
    served.recorder()
    wait_for(lambda: served.ask("/api/batches")[0] == 200, "the recorder has made the log", 20)
    body = {"plan": PLAN, "formulas": [FORMULA]}
    status, answer = wait_for(
        lambda: (got := served.ask("/api/batches", body))[0] == 201 and got, "the batch is open"
    )
    assert status == 201
    return served, answer["batch"]


def test_a_batch_is_opened_marked_and_closed_through_the_recorder(serve: Serve) -> None:
    served, batch = opened(serve)
    listener = Listener(served.port, last_id="0.0")

    stored = served.ask(f"/api/batches/{batch}/marks", {"mark": "into oven", "id": "m-1"})
    again = served.ask(f"/api/batches/{batch}/marks", {"mark": "into oven", "id": "m-1"})
    refused = served.ask("/api/batches", {"plan": PLAN, "formulas": [FORMULA], "batch": batch})
    closed = served.ask(f"/api/batches/{batch}/marks", {"mark": "close batch"})
    late = served.ask(f"/api/batches/{batch}/marks", {"mark": "note", "text": "too late"})
    heard = listener.until(
        lambda said: said.event == "event" and said.data["kind"] == "batch.closed"
    )
    listener.close()

    assert stored[0] == again[0] == 201
    assert stored[1] == again[1]
    assert refused[0] == 422
    assert "already" in refused[1]["error"]["what"]
    assert closed[0] == 201
    assert late[0] == 409
    kinds = [said.data["kind"] for said in heard if said.event == "event"]
    assert kinds[0] == "batch.opened"
    assert kinds.count("bake.in") == 1


def test_a_mark_nobody_stores_is_answered_503_with_the_remedy(serve: Serve) -> None:
    served = serve("weighing")

    began = time.monotonic()
    status, answer = served.ask("/api/marks", {"mark": "note", "text": "anyone?"})

    assert status == 503
    assert 4.5 < time.monotonic() - began < 8
    assert "recorder" in answer["error"]["remedy"]


def test_a_command_is_answered_by_the_instrument(serve: Serve) -> None:
    served = serve("weighing")
    asked: list[str] = []

    with publisher(served.broker) as wire:

        def obey(_topic: str, payload: bytes, _retained: bool) -> None:
            document = decode(payload)
            asked.append(document["command"])
            done = document["command"] == "tare"
            text = "" if done else "the load is moving"
            answer = {"answer": document["id"], "instrument": "bench-scale", "done": done}
            wire.publish_json(TOPICS.answers("bench-scale"), answer | {"text": text})

        wire.subscribe(TOPICS.commands("bench-scale"), obey)
        command = "/api/instruments/bench-scale/commands"
        wait_for(lambda: served.ask(command, {"command": "tare"})[0] == 200, "it answers", 20)
        tared = served.ask(command, {"command": "tare"})
        zeroed = served.ask(command, {"command": "zero"})

    assert tared[1]["done"] is True
    assert zeroed[0] == 409
    assert "the load is moving" in zeroed[1]["error"]["what"]
    assert asked[-2:] == ["tare", "zero"]


def test_whoever_waits_at_the_desk_is_let_go_when_it_closes(
    tmp_path: Path, broker: RunningBroker
) -> None:
    with publisher(broker) as wire:
        desk = Desk(wire, TOPICS, Reader(tmp_path), SystemClock(), wait_s=30)
        refused: list[Refusal] = []

        def ask() -> None:
            with pytest.raises(Refusal) as caught:
                desk.command("bench-scale", "tare")
            refused.append(caught.value)

        waiting = threading.Thread(target=ask)
        waiting.start()
        desk.close()
        waiting.join(5)

    assert refused[0].status == 503
