"""One error shape for every endpoint: ``{"error": {"what": …, "remedy": …}}``."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from pydantic import BaseModel, Field
from starlette.exceptions import HTTPException

from api.formulary import FormularyError
from logger.document import FileError
from logger.store import StoreError

log = logging.getLogger(__name__)

REMEDIES = {
    404: "See /openapi.json for what there is.",
    405: "See /openapi.json for the methods of this address.",
}


class ErrorBody(BaseModel):
    """What is wrong, and what to do about it, in words for the person at the bench."""

    what: str = Field(examples=["There is no batch 'b20270115T080000'."])
    remedy: str = Field(examples=["GET /api/batches lists them."])


class ErrorAnswer(BaseModel):
    """The shape of every error."""

    error: ErrorBody


class Refusal(Exception):
    """An answer other than the one asked for.

    Attributes:
        status: HTTP status.
        what: what is wrong.
        remedy: what to do.
    """

    def __init__(self, status: int, what: str, remedy: str) -> None:
        super().__init__(f"{what} {remedy}")
        self.status = status
        self.what = what
        self.remedy = remedy

    def __reduce__(self) -> tuple[type[Refusal], tuple[int, str, str]]:
        return (type(self), (self.status, self.what, self.remedy))


def answers(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """The errors an endpoint documents in OpenAPI; 422 and 503 can meet every one."""
    return {status: {"model": ErrorAnswer} for status in sorted({422, 503, *statuses})}


def answer(status: int, what: str, remedy: str) -> JSONResponse:
    """An error in the one shape."""
    return JSONResponse({"error": {"what": what, "remedy": remedy}}, status)


def _complaint(errors: Sequence[Any]) -> str:
    first = errors[0]
    where = ".".join(str(part) for part in first["loc"][1:]) or "the body"
    more = f" (and {len(errors) - 1} more)" if len(errors) > 1 else ""
    return f"{where}: {first['msg']}{more}."


def teach(app: FastAPI) -> None:
    """Make `app` give every failure in the one shape."""

    @app.exception_handler(Refusal)
    async def _refusal(_request: Request, error: Refusal) -> JSONResponse:
        return answer(error.status, error.what, error.remedy)

    @app.exception_handler(RequestValidationError)
    async def _invalid(_request: Request, error: RequestValidationError) -> JSONResponse:
        return answer(422, _complaint(error.errors()), "Correct it and send it again.")

    @app.exception_handler(HTTPException)
    async def _http(_request: Request, error: HTTPException) -> JSONResponse:
        out = answer(error.status_code, f"{error.detail}.", REMEDIES.get(error.status_code, ""))
        out.headers.update(error.headers or {})
        return out

    @app.exception_handler(FileError)
    async def _file(_request: Request, error: FileError) -> JSONResponse:
        place = f"{error.file}, line {error.line}" if error.line is not None else error.file
        return answer(422, f"{place}: {error.what}.", f"{error.remedy}.")

    @app.exception_handler(StoreError)
    async def _store(_request: Request, error: StoreError) -> JSONResponse:
        return answer(
            503, f"The log cannot be read: {error}.", "Start the recorder, then try again."
        )

    @app.exception_handler(FormularyError)
    async def _formulary(_request: Request, error: FormularyError) -> JSONResponse:
        return answer(
            503,
            f"The saved formulas cannot be had: {error}.",
            "See that the folder can be written and the disk has room, then try again.",
        )

    @app.exception_handler(Exception)
    async def _fault(request: Request, error: Exception) -> JSONResponse:
        log.exception("a fault of ours answering %s", request.url.path, exc_info=error)
        return answer(
            500,
            "A fault of ours; it stands in the log of `coolcrumb serve`.",
            "Try again; report it.",
        )
