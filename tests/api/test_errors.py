"""Every failure has the one shape, and OpenAPI says the truth about the answers."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import anyio
import httpx
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import BaseModel, ValidationError
from served import Served

from api import answers, formula_answers
from api.app import build
from api.deps import Kitchen
from api.refusal import ErrorAnswer
from drivers.clock import SystemClock
from drivers.config import Config
from drivers.mqtt import BrokerAddress

Serve = Callable[[str], Served]


def paths(served: Served) -> dict[str, Any]:
    status, document = served.ask("/openapi.json")
    assert status == 200
    found: dict[str, Any] = document["paths"]
    return found


def test_every_endpoint_that_names_a_thing_refuses_an_unknown_one_in_the_one_shape(
    standing: Serve,
) -> None:
    served = standing("weighing")
    tried = 0

    for path, methods in paths(served).items():
        if "{" not in path:
            continue
        for method in methods:
            address = path.replace("{batch}", "no-such").replace("{name}", "no-such")
            address = address.replace("{version}", "1")
            address += "?channel=a/b" if path.endswith("readings") else ""
            body = {"mark": "note", "command": "tare"} if method == "post" else None
            status, answer = served.ask(address, body)
            tried += 1

            assert status == 404, (path, answer)
            error = ErrorAnswer.model_validate(answer).error
            assert "no-such" in error.what
            assert "GET /api/" in error.remedy
    assert tried >= 7


@pytest.mark.parametrize(
    ("address", "body", "status"),
    [
        ("/nowhere", None, 404),
        ("/api/kitchen", {}, 405),
        ("/api/marks", {"t": 1.0}, 422),
        ("/api/marks", {"mark": "note", "t": 5e9}, 422),
        ("/api/marks", [1], 422),
        ("/api/batches", {"plan": "not = toml = at all"}, 422),
        ("/api/batches", {"plan": {"channels": {}}}, 422),
        ("/api/batches", {"plan": {"channels": {"a/b": "scale"}, "formula": {"file": "x"}}}, 422),
        ("/api/batches/b-pear/events?after=yesterday", None, 422),
        ("/api/batches/b-pear/readings?channel=a/b&points=1", None, 422),
        ("/api/batches/b-pear/readings?channel=oven-probe/air&from=inf", None, 422),
        ("/api/batches/b-pear/readings?channel=oven-probe/air&from=nan", None, 422),
        ("/api/instruments/bench-scale/commands", {"command": "explode"}, 422),
        ("/api/stream?batch=no-such", None, 404),
    ],
)
def test_a_bad_request_is_told_what_is_wrong_and_what_to_do(
    standing: Serve, address: str, body: Any, status: int
) -> None:
    served = standing("weighing")

    got, answer = served.ask(address, body)

    assert got == status, answer
    error = ErrorAnswer.model_validate(answer).error
    assert set(answer) == {"error"}
    assert error.what
    assert error.remedy


def test_without_a_log_the_page_stands_and_questions_say_to_start_the_recorder(
    serve: Callable[[None], Served],
) -> None:
    served = serve(None)

    kitchen = served.ask("/api/kitchen")
    batches = served.ask("/api/batches")
    health = served.ask("/healthz")

    assert kitchen[0] == 200
    assert kitchen[1]["instruments"] == []
    assert batches[0] == 503
    assert "Start the recorder" in batches[1]["error"]["remedy"]
    assert health[1]["log"] is None


def call(folder: Path, method: str, path: str, **more: Any) -> httpx.Response:
    """One request to an application in this process; nothing of it is started."""
    nobody = BrokerAddress("127.0.0.1", 9)
    kitchen = Kitchen.open(Config(), folder, nobody, SystemClock(), "test-errors")
    app = httpx.ASGITransport(build(kitchen), raise_app_exceptions=False)

    async def ask() -> httpx.Response:
        async with httpx.AsyncClient(transport=app, base_url="http://kitchen") as client:
            return await client.request(method, path, **more)

    # A thread of its own: a browser's test in the same run may have left a loop in this one.
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(anyio.run, ask).result()


def test_another_sites_page_may_not_send_marks(tmp_path: Path) -> None:
    elsewhere = {"origin": "https://elsewhere.example"}

    answer = call(tmp_path, "POST", "/api/marks", json={"mark": "note"}, headers=elsewhere)

    assert answer.status_code == 403
    ErrorAnswer.model_validate(answer.json())


def test_a_fault_of_ours_has_the_shape_too_and_says_nothing_of_its_inside(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(_self: Any) -> float:
        raise RuntimeError("secret")

    monkeypatch.setattr(SystemClock, "now_us", broken)

    answer = call(tmp_path, "GET", "/api/instruments")

    assert answer.status_code == 500
    assert "secret" not in answer.text
    ErrorAnswer.model_validate(answer.json())


def models() -> list[type[BaseModel]]:
    return [
        model
        for model in {**vars(answers), **vars(formula_answers)}.values()
        if isinstance(model, type) and issubclass(model, BaseModel) and model.model_fields
    ]


def example_of(schema: dict[str, Any], definitions: dict[str, Any]) -> Any:
    """The example a schema gives: its own, or that of its parts."""
    if "$ref" in schema:
        return example_of(definitions[schema["$ref"].rsplit("/", 1)[1]], definitions)
    if "examples" in schema:
        return schema["examples"][0]
    if schema.get("type") == "array":
        return [example_of(schema["items"], definitions)]
    assert "properties" in schema, f"no example in {schema}"
    return {key: example_of(part, definitions) for key, part in schema["properties"].items()}


@pytest.mark.parametrize("model", models(), ids=lambda model: model.__name__)
def test_every_example_is_valid_and_every_field_has_one(model: type[BaseModel]) -> None:
    schema = model.model_json_schema(by_alias=True)

    example = example_of(schema, schema.get("$defs", {}))

    model.model_validate(example)


@given(st.sampled_from([math.nan, math.inf, -math.inf]))
def test_no_answer_can_carry_what_json_has_no_word_for(value: float) -> None:
    schema = answers.LiveValue.model_json_schema()
    good = example_of(schema, {})

    for field in ("t", "value", "division", "age_s"):
        with pytest.raises(ValidationError):
            answers.LiveValue.model_validate(good | {field: value})


def test_every_error_status_is_documented_with_the_one_shape(standing: Serve) -> None:
    for path, methods in paths(standing("weighing")).items():
        for method, operation in methods.items():
            assert "503" in operation["responses"], (path, method)
            for status, response in operation["responses"].items():
                if int(status) >= 400:
                    schema = json.dumps(response["content"])
                    assert "ErrorAnswer" in schema, (path, method, status)
