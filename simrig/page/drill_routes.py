"""The routes of the drill."""

from __future__ import annotations

import secrets

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Route

from simrig.page.drilling import Drilling
from simrig.page.replies import form_of, message

SEEDS = 1_000_000


def drill_routes(drilling: Drilling) -> list[Route]:
    """Return the routes: choose a machine, a question, a question marked."""

    def choose(request: Request) -> Response:
        return HTMLResponse(drilling.choose(secrets.randbelow(SEEDS)))

    def ask(request: Request) -> Response:
        return answered(dict(request.query_params), None)

    async def mark(request: Request) -> Response:
        form = await form_of(request)
        return await run_in_threadpool(answered, form, form.get("answer", ""))

    def answered(place: dict[str, str], answer: str | None) -> Response:
        text = drilling.ask(place.get("machine", ""), place, answer)
        if text is None:
            return message(404, "There is no question about this machine", "Choose another one.")
        return HTMLResponse(text)

    return [
        Route("/drill", choose),
        Route("/drill/ask", ask, methods=["GET"]),
        Route("/drill/ask", mark, methods=["POST"]),
    ]
