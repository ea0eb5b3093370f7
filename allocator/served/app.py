"""The addresses of the page, and what each answers."""

from collections.abc import Callable
from functools import partial
from http import HTTPStatus

from starlette.applications import Starlette
from starlette.datastructures import QueryParams
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from allocator.problems import InputError
from allocator.reports.fit import fit_blocks
from allocator.reports.sheet import sheet_of
from allocator.reports.sheet_html import sheet_html
from allocator.reports.tables import clean
from allocator.reports.text import WEEKS_SHOWN
from allocator.reports.words import WEEK, day_words
from allocator.served import pages
from allocator.served.asking import NotUnderstoodError, choices, day_told, fit_told
from allocator.served.desk import Desk, View
from allocator.served.guard import FAULT, FORM, FORM_TOKEN, Guard
from allocator.served.jobs import State, Status
from allocator.served.store import InHand
from allocator.writing import plan_json

MOST_WORDS = 500
"""As many characters of what is ticked are enough to know it again (judgement)."""

TITLES = {403: "Not let in", 404: "Not here", 500: "A fault"}

BUSY = "Something else is under way, so this was not begun. Wait for it, or end it, and ask again."
FIELDS = ("line", "eggs", "on", "by", "number", "more", "without")
"""Of the forms: the first four of one more brood, the others of what if."""

NO_PLAN = "There is no plan yet."
KEPT_STATES = {
    State.DROPPED: "It was given up. All is as it was.",
    State.FAILED: "It ended without an answer.",
}


def guarded_app(desk: Desk, fault: Callable[[Exception], None], port: int = 0) -> Guard:
    """Return the whole application, with the guard before it."""
    served = _Served(desk)
    routes = [
        Route("/", served.plan_page),
        Route("/ask", served.ask_page),
        Route("/fit", served.fit_page),
        Route("/answers/{number:int}", served.answer_page),
        Route("/take", served.take_page),
        Route("/working", served.working_page),
        Route("/progress", served.progress),
        Route("/sheet.html", served.sheet),
        Route("/calendar.ics", served.calendar),
        Route("/plan.json", served.plan_file),
        Route("/live.js", served.script),
        Route("/plan", served.begin_plan, methods=["POST"]),
        Route("/what-if", served.begin_what_if, methods=["POST"]),
        Route("/ticks", served.ticks),
        Route("/tick", served.tick, methods=["POST"]),
        Route("/stop", served.stop, methods=["POST"]),
    ]
    inner = Starlette(
        routes=routes,
        exception_handlers={
            HTTPException: _not_there,
            InputError: partial(_unreadable, served),
            Exception: _fault,
        },
    )
    return Guard(inner, _refused, fault, port)


def _refused(status: int, why: str) -> Response:
    """Return the page of a refusal: it links to nothing, since whoever reads it may be nobody of ours."""
    title = TITLES.get(status, HTTPStatus(status).phrase)
    return HTMLResponse(pages.page("refused", title=title, why=why), status)


def _not_there(_: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)  # noqa: S101 - what this handler is for
    usual = HTTPStatus(error.status_code).phrase
    why = "There is nothing of this kind here." if error.detail == usual else error.detail
    return _refused(error.status_code, why)


def _fault(_: Request, __: Exception) -> Response:
    """Return the page of a fault; the exception itself goes on to the guard, who tells of it."""
    return _refused(500, FAULT)


def _unreadable(served: "_Served", request: Request, error: Exception) -> Response:
    """Return the page for a room file with problems, or a disk that cannot be written."""
    assert isinstance(error, InputError)  # noqa: S101 - what this handler is for
    lines = tuple(map(str, error.problems))
    return HTMLResponse(
        pages.page("told", **served.common(request), heading="That cannot be done now", lines=lines), 422
    )


class _Served:
    """What each address answers. Functions that plan or read files are plain: they run in threads."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk

    def common(self, request: Request, view: View | None = None) -> dict[str, object]:
        """Return what every page shows: the room, what is odd about it, the search under way."""
        view = view or self.desk.look()
        named = view.in_hand.room if view.in_hand else view.reading.room if view.reading else None
        status = self.desk.jobs.status()
        return {
            "here": request.url.path,
            "room": clean(named.name) if named else clean(self.desk.room_file.name),
            "view": view,
            "mark": self.desk.store.mark(),
            "status": status if status is not None and status.going_on else None,
            "ended": _ended_badly(status),
            "form_token": request.scope[FORM_TOKEN],
        }

    def plan_page(self, request: Request) -> Response:
        """Show the report of the plan in hand, on a day if one is asked for; without a plan, how to come by one."""
        view = self.desk.look()
        common = self.common(request, view)
        if view.in_hand is None:
            if common["status"] is not None:
                return RedirectResponse("/working", 303)
            return HTMLResponse(pages.page("no_plan", **common))
        asked, wrong = request.query_params.get("on", ""), ""
        days = []
        if asked:
            try:
                days = [day_told(asked, view.in_hand.room.today, "The day to show")]
            except NotUnderstoodError as error:
                wrong = str(error)
        on = days[0] if days else view.in_hand.room.today
        first = view.in_hand.room.today
        return HTMLResponse(
            pages.report(view.in_hand, days, **common, on=on, day_chosen=bool(days), first=first, wrong=wrong)
        )

    def ask_page(self, request: Request) -> Response:
        """Show the forms."""
        return HTMLResponse(self._ask(request, self.desk.look(), {}))

    def fit_page(self, request: Request) -> Response:
        """Show where one more brood would live. The question stands in the address, so it can be kept and reloaded."""
        view = self.desk.look()
        asked = _asked(request.query_params)
        if view.in_hand is None:
            return HTMLResponse(self._ask(request, view, asked, wrong_fit=NO_PLAN), 422)
        try:
            reply = fit_told(view.in_hand, asked)
        except NotUnderstoodError as error:
            return HTMLResponse(self._ask(request, view, asked, wrong_fit=str(error)), 422)
        return HTMLResponse(self._ask(request, view, asked, fit=fit_blocks(reply)))

    def _ask(
        self,
        request: Request,
        view: View,
        asked: dict[str, str],
        *,
        fit: object = None,
        wrong_fit: str = "",
        wrong_other: str = "",
    ) -> str:
        there = view.in_hand
        room = there.room if there else view.reading.room if view.reading else None
        return pages.page(
            "ask",
            **self.common(request, view),
            choices=choices(room) if room else None,
            other=choices(view.reading.room) if view.reading else None,
            first=room.today if room else None,
            asked=dict.fromkeys(FIELDS, "") | asked,
            fit=fit,
            wrong_fit=wrong_fit,
            wrong_other=wrong_other,
            answers=tuple(reversed(self.desk.store.answers())),
            day_words=day_words,
        )

    def answer_page(self, request: Request) -> Response:
        """Show an answer to "what if" that was kept."""
        number = request.path_params["number"]
        found = next((a for a in self.desk.store.answers() if a.number == number), None)
        if found is None:
            raise HTTPException(404)
        view = self.desk.look()
        old = view.reading is not None and (view.reading.digest, view.reading.room.today) != (
            found.digest,
            found.today,
        )
        return HTMLResponse(
            pages.page(
                "answer", **self.common(request, view), answer=found, old=old, today=day_words(found.today)
            )
        )

    def take_page(self, request: Request) -> Response:
        """Show what can be printed and downloaded."""
        return HTMLResponse(pages.page("take", **self.common(request), kept=self.desk.store.plan_file))

    def working_page(self, request: Request) -> Response:
        """Show how far the search is; once it has ended, go where its answer is."""
        status = self.desk.jobs.status()
        if status is None or (status.state is State.DONE and not status.why):
            return RedirectResponse(status.then if status else "/", 303)
        busy = BUSY if "busy" in request.query_params else ""
        common = self.common(request) | {"status": status, "ended": None}
        return HTMLResponse(
            pages.page(
                "working",
                **common,
                busy=busy,
                why=KEPT_STATES.get(status.state, ""),
                state=status.state.value,
            )
        )

    def progress(self, _: Request) -> Response:
        """Tell the script of a page how far the search is, and by `mark` whether there is a newer plan."""
        return JSONResponse(pages.progress_of(self.desk.jobs.status()) | {"mark": self.desk.store.mark()})

    def ticks(self, _: Request) -> Response:
        """Tell the script of a page what is ticked as done."""
        return JSONResponse(self.desk.store.ticks())

    def tick(self, request: Request) -> Response:
        """Keep a tick, so that a reload or another tab has it too."""
        form = request.scope[FORM]
        words = form.get("words", "")[:MOST_WORDS]
        if words:
            self.desk.store.tick(words, done=form.get("done") == "1")
        return Response(status_code=204)

    def script(self, _: Request) -> Response:
        """Send the script of the pages."""
        return Response(pages.script(), media_type="text/javascript")

    def sheet(self, request: Request) -> Response:
        """Send the move sheet: to look at and print, or to keep."""
        there = self._in_hand()
        begin = there.room.today
        made = sheet_html(sheet_of(there.room, there.plan, begin, begin + WEEKS_SHOWN * WEEK))
        return HTMLResponse(made, headers=_as_file("sheet.html") if "keep" in request.query_params else None)

    def calendar(self, _: Request) -> Response:
        """Send the plan for a calendar program."""
        made = self.desk.store.calendar(self._in_hand())
        return Response(made, media_type="text/calendar", headers=_as_file("calendar.ics"))

    def plan_file(self, _: Request) -> Response:
        """Send the plan file, as `allocator plan --json` writes it."""
        there = self._in_hand()
        made = plan_json(there.plan, there.digest, as_it_is=there.as_it_is if there.plan.added else None)
        return Response(made, media_type="application/json", headers=_as_file("plan.json"))

    def _in_hand(self) -> InHand:
        in_hand = self.desk.look().in_hand
        if in_hand is None:
            raise HTTPException(404, NO_PLAN)
        return in_hand

    def begin_plan(self, request: Request) -> Response:
        """Begin to plan."""
        return _to_work(begun=self.desk.plan(fresh="fresh" in request.scope[FORM]))

    def begin_what_if(self, request: Request) -> Response:
        """Begin to work out what would be different."""
        asked = request.scope[FORM]
        try:
            return _to_work(begun=self.desk.compare(asked))
        except NotUnderstoodError as error:
            return HTMLResponse(self._ask(request, self.desk.look(), asked, wrong_other=str(error)), 422)

    def stop(self, request: Request) -> Response:
        """End the search, with the best plan so far or without any."""
        self.desk.jobs.stop(drop=request.scope[FORM].get("how") != "keep")
        return RedirectResponse("/working", 303)


def _to_work(*, begun: bool) -> Response:
    return RedirectResponse("/working" if begun else "/working?busy=1", 303)


def _as_file(name: str) -> dict[str, str]:
    return {"Content-Disposition": f'attachment; filename="{name}"'}


def _asked(query: QueryParams) -> dict[str, str]:
    return {name: query.get(name, "") for name in FIELDS[:4]}


def _ended_badly(status: Status | None) -> str | None:
    """Return what is to be said of the last search on every page, until another is begun."""
    if status is None or status.state is State.DROPPED:
        return None
    return f"{status.title}: {status.why}" if status.why else None
