"""Builds the application: routes, page, headers. Everything it works with comes in as `Kitchen`."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from urllib.parse import urlsplit

from fastapi import FastAPI, Request
from fastapi.responses import HTMLResponse
from fastapi.staticfiles import StaticFiles
from fastapi.templating import Jinja2Templates
from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api import refusal
from api.deps import Kitchen, KitchenDep
from api.routes import batches, formulas, kitchen, marks, stream

HERE = Path(__file__).parent
# The page is complete in itself: nothing is ever asked of another host.
POLICY = "default-src 'self'; frame-ancestors 'none'; base-uri 'none'; form-action 'self'"


def _version() -> str:
    try:
        return version("coolcrumb")
    except PackageNotFoundError:
        return "0"


def build(opened: Kitchen) -> FastAPI:
    """The application for an opened kitchen; it starts and stops with the server."""

    @asynccontextmanager
    async def life(_app: FastAPI) -> AsyncIterator[None]:
        opened.start()
        try:
            yield
        finally:
            opened.stop()

    app = FastAPI(
        title="coolcrumb",
        version=_version(),
        summary="Is the amount right, is the oven right, when is it done, when can I frost.",
        lifespan=life,
        docs_url=None,  # the ready-made documentation pages fetch their parts from elsewhere
        redoc_url=None,
    )
    app.state.kitchen = opened
    refusal.teach(app)
    app.add_middleware(_Guard)
    for routes in (kitchen, batches, formulas, marks, stream):
        app.include_router(routes.router)
    templates = Jinja2Templates(HERE / "templates")

    @app.get("/", include_in_schema=False)
    def page(request: Request, kitchen: KitchenDep) -> HTMLResponse:
        return templates.TemplateResponse(request, "page.html", {"title": kitchen.config.title})

    @app.get("/formula", include_in_schema=False)
    def formula_view(request: Request, kitchen: KitchenDep) -> HTMLResponse:
        return templates.TemplateResponse(request, "formula.html", {"title": kitchen.config.title})

    app.mount("/static", StaticFiles(directory=HERE / "static"), name="static")
    return app


class _Guard:
    """No other site may send marks here, and the page loads nothing from elsewhere.

    Plain ASGI: a middleware that wraps the response would stand between a stream and its reader.
    """

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        origin = headers.get("origin")
        sends = scope["method"] not in ("GET", "HEAD")
        if sends and origin is not None and urlsplit(origin).netloc != headers.get("host"):
            refused = refusal.answer(
                403, f"{origin} may not send here.", "Use the kitchen's own page."
            )
            await refused(scope, receive, send)
            return

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                out = MutableHeaders(scope=message)
                out["X-Content-Type-Options"] = "nosniff"
                out["Content-Security-Policy"] = POLICY
                if scope["path"].startswith("/static/"):
                    out["Cache-Control"] = "no-cache"
            await send(message)

        await self._app(scope, receive, with_headers)
