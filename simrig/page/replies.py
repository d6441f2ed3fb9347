"""What every route needs: the fields of a form, and a page that says one thing."""

from __future__ import annotations

from urllib.parse import parse_qs

from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from simrig.page.rendering import render


async def form_of(request: Request) -> dict[str, str]:
    """Return the fields of a posted form, the first of each name."""
    try:
        text = (await request.body()).decode("utf-8")
        fields = parse_qs(text, keep_blank_values=True, max_num_fields=100)
    except ValueError:
        return {}
    return {name: values[0] for name, values in fields.items()}


def message(status: int, heading: str, *lines: str) -> Response:
    """Return a page that says one thing, and the way back to the machines."""
    text = render("message.html", title=f"simrig: {heading}", script=False, heading=heading,
                  lines=[line for line in lines if line])  # fmt: skip
    return HTMLResponse(text, status_code=status)
