"""The routes of the page."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any, Final

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import (
    HTMLResponse,
    JSONResponse,
    PlainTextResponse,
    RedirectResponse,
    Response,
)
from starlette.routing import Route

from simrig.errors import InputError, SimrigError
from simrig.interchange import sheets_out
from simrig.page import filing, views
from simrig.page.answers import Session
from simrig.page.desk import Desk
from simrig.page.drill_routes import drill_routes
from simrig.page.drilling import Drilling
from simrig.page.guard import COOKIE, DAY, Pairing
from simrig.page.isolating import BusyError, Isolating, StaleError, causes_view
from simrig.page.logs import log_view
from simrig.page.rendering import render, static
from simrig.page.replies import form_of, message
from simrig.reports import wording
from simrig.reports.drawing import marks, plan

STATIC: Final = {"page.css": "text/css", "page.js": "text/javascript"}
MOST_TAPS: Final = 500
_GONE: Final = 410


class Page:
    """The page of one desk; ``pairing`` and ``address`` are set where phones come by the network."""

    def __init__(
        self, desk: Desk, *, pairing: Pairing | None = None, address: str | None = None
    ) -> None:
        self.desk = desk
        self.pairing = pairing
        self.address = address
        self.isolating = Isolating()

    def routes(self) -> Starlette:
        """Return the application, without the gate before it."""
        job = "/job/{job}"
        return Starlette(
            routes=[
                Route("/", self.home),
                Route("/static/{name}", self.file),
                Route("/begin", self.begin, methods=["POST"]),
                *drill_routes(Drilling(self.desk)),
                Route("/pair/{token}", self.pair, methods=["GET", "POST"]),
                Route("/pairing", self.invite, methods=["POST"]),
                Route(job, self.on_job(self.show, piece=False)),
                Route(f"{job}/part", self.on_job(self.part)),
                Route(f"{job}/seq", self.on_job(self.seq)),
                Route(f"{job}/causes", self.on_job(self.causes)),
                Route(f"{job}/steps", self.on_job(self.steps)),
                Route(f"{job}/plan.svg", self.on_job(self.plan)),
                Route(f"{job}/sheet", self.on_job(self.sheet)),
                Route(f"{job}/taps", self.taps, methods=["POST"]),
                Route(f"{job}/log", self.log, methods=["POST"]),
                Route(f"{job}/do", self.do, methods=["POST"]),
                Route(f"{job}/file", self.on_job(self.finish, piece=False)),
                Route(f"{job}/file", self.file_job, methods=["POST"]),
            ],
            exception_handlers={404: _nothing_here, 500: _failed, BusyError: _busy},
        )

    def on_job(
        self, answer: Callable[[Request, Session], Response], *, piece: bool = True
    ) -> Callable[[Request], Response]:
        """Return an endpoint that answers about the job in the path.

        ``piece``: what an open page asks for; where the job is filed, it is gone.
        """

        def endpoint(request: Request) -> Response:
            found = self.desk.answers.session(request.path_params["job"])
            if found is None:
                return message(404, "There is no such job", "Begin again from the machines.")
            if found.job is not None:
                return PlainTextResponse("filed", status_code=_GONE) if piece else _filed(found)
            if not self.desk.readable(found.machine):
                return message(404, "This machine is not at hand now",
                                "Its profile was moved or cannot be read; what was tapped is "
                                "kept.")  # fmt: skip
            return answer(request, found)

        return endpoint

    def home(self, request: Request) -> Response:
        """The machines, the one used last first, and the jobs to go on with."""
        machines = self.desk.machines()
        used = self.desk.answers.last_used()
        text = render(
            "home.html",
            title="simrig: machines",
            script=False,
            machines=machines,
            last=used[0] if used else None,
            titles={machine.id: machine.title for machine in machines},
            going_on=self.desk.answers.going_on(),
            problems=[str(problem) for problem in self.desk.catalogue.folder_problems],
            pairing=self.pairing is not None,
        )
        return HTMLResponse(text)

    def file(self, request: Request) -> Response:
        """A style sheet or a script of the package."""
        name = request.path_params["name"]
        if name not in STATIC:
            return message(404, "There is nothing here", "")
        return Response(static(name), media_type=STATIC[name],
                        headers={"cache-control": "max-age=3600"})  # fmt: skip

    async def begin(self, request: Request) -> Response:
        """Begin a job at the machine that was chosen."""
        name = (await form_of(request)).get("machine", "")
        try:
            made = await run_in_threadpool(self.desk.begin, name)
        except KeyError:
            return message(404, "There is no such machine here", "Choose one of the list.")
        except SimrigError as error:
            return message(400, "This machine's profile cannot be read",
                            *[str(problem) for problem in error.problems[:8]])  # fmt: skip
        return RedirectResponse(f"/job/{made.id}", status_code=303)

    def pair(self, request: Request) -> Response:
        """Pair a phone: a page with one button, then the token in a cookie."""
        token = request.path_params["token"]
        if self.pairing is None:
            return message(404, "There is nothing here", "")
        if request.method == "GET":
            good = self.pairing.good(token)
            text = render("pair.html", title="simrig: pair this phone", script=False, good=good,
                          token=token)  # fmt: skip
            return HTMLResponse(text, status_code=200 if good else 403)
        kept = self.pairing.pair(token)
        if kept is None:
            text = render("pair.html", title="simrig: pair this phone", script=False, good=False,
                          token="")  # fmt: skip
            return HTMLResponse(text, status_code=403)
        answer = RedirectResponse("/", status_code=303)
        answer.set_cookie(COOKIE, kept, max_age=int(DAY.total_seconds()), httponly=True,
                          samesite="strict", path="/")  # fmt: skip
        return answer

    def invite(self, request: Request) -> Response:
        """A link, and its code, that pairs another phone."""
        if self.pairing is None or self.address is None:
            return message(404, "There is nothing here", "")
        link = f"{self.address}/pair/{self.pairing.link()}"
        text = render("pairing.html", title="simrig: let another phone in", script=False,
                      link=link, code=code_of(link))  # fmt: skip
        return HTMLResponse(text)

    def show(self, request: Request, job: Session) -> Response:
        """The whole page of a job."""
        opened = request.query_params.get("open", "")
        values = self._values(job, opened)
        if opened == "causes":
            values |= self._causes(job)
        return HTMLResponse(render("job.html", **values, script=True))

    def part(self, request: Request, job: Session) -> Response:
        """The sheet and the answer, or the answer alone, for a page that is open."""
        whole = request.query_params.get("what") == "all"
        return HTMLResponse(render("part.html", **self._values(job), whole=whole))

    def _values(self, job: Session, opened: str = "") -> dict[str, Any]:
        profile, table = self.desk.machine(job.machine)
        state, seq = self.desk.state(job)
        return {
            "title": f"simrig: {profile.name}",
            "profile": profile,
            "job": job,
            "state": state,
            "seq": seq,
            "view": views.sheet_view(profile, table, state),
            "answer": views.answer_view(profile, table, state),
            "steps": self.desk.steps(job.machine),
            "opened": opened,
        }

    def seq(self, request: Request, job: Session) -> Response:
        """The number of the last tap of a job."""
        return JSONResponse({"seq": self.desk.answers.last(job.id)})

    def causes(self, request: Request, job: Session) -> Response:
        """What can be wrong, worked out from everything that was seen."""
        asked = request.query_params.get("seq")
        try:
            found = self._causes(
                job, lambda: asked is None or asked == str(self.desk.answers.last(job.id))
            )
        except StaleError:
            return Response(status_code=204)
        return HTMLResponse(render("causes.html", **found, job=job))

    def _causes(self, job: Session, wanted: Callable[[], bool] = lambda: True) -> dict[str, Any]:
        profile, _ = self.desk.machine(job.machine)
        state, _ = self.desk.state(job)
        try:
            isolation = self.isolating.isolation(profile, state, wanted=wanted)
            return {"error": None, "found": causes_view(isolation)}
        except ValueError as error:
            return {"error": str(error), "found": None}

    def steps(self, request: Request, job: Session) -> Response:
        """The plan that proves the machine, with what was ticked."""
        state, _ = self.desk.state(job)
        return HTMLResponse(render("steps.html", steps=self.desk.steps(job.machine), state=state))

    def plan(self, request: Request, job: Session) -> Response:
        """The drawing of the machine as it must be now."""
        profile, table = self.desk.machine(job.machine)
        state, _ = self.desk.state(job)
        found, _ = views.predicted(profile, table, state.sheet)
        shown = None
        if found is not None:
            shown = marks(profile, found, wording.assumed(profile, state.sheet.conditions))
        return Response(plan(profile, shown, width=340), media_type="image/svg+xml")

    def sheet(self, request: Request, job: Session) -> Response:
        """What was tapped, as a sheet for the commands."""
        profile, _ = self.desk.machine(job.machine)
        state, _ = self.desk.state(job)
        pairs = [(one.conditions, one.readings) for one in state.taken]
        text = render("text.html", title=f"simrig: {profile.name}", script=False, job=job,
                      profile=profile, text=sheets_out.toml(pairs))  # fmt: skip
        return HTMLResponse(text)

    async def taps(self, request: Request) -> Response:
        """Keep taps that a phone sends, and say so once they are on the disk."""
        try:
            sent = json.loads(await request.body())
            taps = [(str(one["key"])[:64], str(one["kind"]), one["value"]) for one in sent]
        except (ValueError, TypeError, KeyError, RecursionError):
            return PlainTextResponse("That was not understood.", status_code=400)
        return await run_in_threadpool(self._tapped, request.path_params["job"], taps)

    def _tapped(self, name: str, taps: list[tuple[str, str, Any]]) -> Response:
        job = self.desk.answers.session(name)
        if job is None:
            return PlainTextResponse("There is no such job.", status_code=404)
        if job.job is not None:
            return PlainTextResponse("This job is filed; begin another.", status_code=_GONE)
        if len(taps) > MOST_TAPS:
            return PlainTextResponse("That is too much at once.", status_code=413)
        try:
            return JSONResponse({"seq": self.desk.tap(job, taps)})
        except KeyError:
            return PlainTextResponse("This machine is not at hand now.", status_code=404)
        except ValueError as error:
            return PlainTextResponse(f"Not taken: {error}.", status_code=422)

    async def do(self, request: Request) -> Response:
        """Keep one tap of a browser without scripts, and show the page again."""
        form = await form_of(request)
        name = request.path_params["job"]
        try:
            one = json.loads(form.get("do", ""))
            taps = [(_fresh_key(), str(one["kind"]), one.get("value"))]
        except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
            return message(400, "That was not understood", "Go back and tap again.")
        answer = await run_in_threadpool(self._tapped, name, taps)
        if answer.status_code != 200:
            return answer
        return RedirectResponse(f"/job/{name}", status_code=303)

    async def log(self, request: Request) -> Response:
        """Judge and draw a log that was dropped on the page; nothing of it is kept."""
        data = await request.body()
        name = request.query_params.get("name", "log")[:80]
        return await run_in_threadpool(self._log, request.path_params["job"], data, name)

    def _log(self, name: str, data: bytes, file: str) -> Response:
        job = self.desk.answers.session(name)
        if job is None or not self.desk.readable(job.machine):
            return PlainTextResponse("There is no such job.", status_code=404)
        profile, _ = self.desk.machine(job.machine)
        state, _ = self.desk.state(job)
        found, problems = None, []
        try:
            found = log_view(profile, state.sheet, data, file)
        except InputError as error:
            problems = [str(problem) for problem in error.problems]
        except ValueError as error:
            problems = [str(error)]
        return HTMLResponse(render("log.html", found=found, problems=problems))

    def finish(self, request: Request, job: Session) -> Response:
        """The questions before a job is filed."""
        return HTMLResponse(self._finish(job, None))

    def _finish(self, job: Session, error: str | None) -> str:
        profile, _ = self.desk.machine(job.machine)
        state, _ = self.desk.state(job)
        found: list[str] = []
        if state.asked and state.taken:
            try:
                shown = causes_view(self.isolating.isolation(profile, state))
                found = [group.title for group in shown.groups]
            except (ValueError, BusyError):
                pass
        try:
            units = filing.units(self.desk.store, profile.id)
        except SimrigError as trouble:
            units = []
            error = error or "; ".join(str(problem) for problem in trouble.problems)
        return render("filing.html", title=f"simrig: {profile.name}", script=False, job=job,
                      profile=profile, state=state, units=units, found=found,
                      error=error)  # fmt: skip

    async def file_job(self, request: Request) -> Response:
        """File the job, and say under which number."""
        form = await form_of(request)
        return await run_in_threadpool(self._file, request.path_params["job"], form)

    def _file(self, name: str, form: dict[str, str]) -> Response:
        job = self.desk.answers.session(name)
        if job is None:
            return message(404, "There is no such job", "Begin again from the machines.")
        if job.job is not None:
            return _filed(job)
        if not self.desk.readable(job.machine):
            return message(404, "This machine is not at hand now", "What was tapped is kept.")
        profile, _ = self.desk.machine(job.machine)
        state, _ = self.desk.state(job)
        try:
            number = filing.file_job(
                self.desk.store, profile, state, form, begun=job.begun, now=self.desk.clock()
            )
        except InputError as error:
            words = "; ".join(str(problem) for problem in error.problems)
            return HTMLResponse(self._finish(job, words), status_code=422)
        self.desk.answers.mark_filed(name, number)
        return RedirectResponse(f"/job/{name}", status_code=303)


def code_of(link: str) -> str:
    """Return a link as a QR code (ISO/IEC 18004), an SVG document."""
    import segno

    return str(segno.make(link, error="m").svg_inline(scale=6, border=4, dark="#000"))


def _fresh_key() -> str:
    import secrets

    return secrets.token_hex(12)


def _filed(job: Session) -> Response:
    return message(
        200,
        f"Filed as job {job.job}",
        f"See it with: simrig history list --job {job.job}",
    )


def _nothing_here(request: Request, error: Exception) -> Response:
    return message(404, "There is nothing here", "")


def _busy(request: Request, error: Exception) -> Response:
    return message(503, "Too many ask at once", "It is tried again in a moment.")


def _failed(request: Request, error: Exception) -> Response:
    return message(
        500,
        "simrig itself has failed",
        f"{type(error).__name__}. What you tapped is kept.",
    )
