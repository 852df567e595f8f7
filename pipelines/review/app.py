"""The page as a Flask application: its addresses and what each shows or does. door.py decides who is let in.

In: a desk (the casebook under a reviewer's name) and the pictures. Out: HTML made from templates/, every value
escaped, every sentence from catalog.py. Each form ends in a redirect, so that reloading decides nothing twice.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

from flask import Flask, Response, abort, redirect, render_template, request, url_for
from markupsafe import Markup
from werkzeug.exceptions import HTTPException
from werkzeug.wrappers import Response as AnyResponse

from pipelines.casebook.errors import CasebookError
from pipelines.output.text import say_percent
from pipelines.review.catalog import say
from pipelines.review.door import Door
from pipelines.review.pictures import SHOWN_VIEWS, Pictures
from pipelines.review.steps import ChoiceError, Desk, Step, Visit, make_step, read_choice, say_what
from reader.enhance.views import VIEWS
from reader.errors import one_line

CASE_LARGEST = 2**31 - 1
"""Case numbers beyond this are no numbers of cases in any database."""

HELD_BLANK = "\u00a0"
"""The blank in '97 %', the one sign that is shown as it is although it is not printable."""

TYPES = {"jpg": "image/jpeg", "png": "image/png"}


def create_app(desk: Desk, pictures: Pictures, key: str, hosts: Collection[str]) -> Flask:
    """Return the application. `key` lets a browser in; `hosts` are the values that the Host header may have."""
    app = Flask(__name__)
    app.jinja_options = {"finalize": _show}
    app.jinja_env.globals.update(say=say, say_percent=say_percent, say_what=say_what)
    pages = Pages(desk, pictures, Door(app, key, hosts))
    app.add_url_rule("/", view_func=pages.next_case)
    app.add_url_rule("/case/<int:case>", view_func=pages.one_case)
    app.add_url_rule("/case/<int:case>", view_func=pages.decide, methods=["POST"])
    app.add_url_rule("/undo", view_func=pages.undo, methods=["POST"])
    app.add_url_rule("/again", view_func=pages.again, methods=["POST"])
    app.add_url_rule("/keys", view_func=pages.keys, methods=["POST"])
    app.add_url_rule("/pictures/<token>/<name>", view_func=pages.picture)
    app.register_error_handler(HTTPException, show_error)
    app.register_error_handler(CasebookError, show_casebook_error)
    return app


class Pages:
    """What stands behind the addresses."""

    def __init__(self, desk: Desk, pictures: Pictures, door: Door) -> None:
        self.desk = desk
        self.pictures = pictures
        self.door = door

    def next_case(self) -> str:
        """Show the next case, or that none waits."""
        sitting = self.door.visit()
        waiting = self.desk.next_cases(sitting)
        if waiting:
            return self._show_step(make_step(self.desk.book.case(waiting[0].id)), sitting)
        return render_template(
            "finished.html", visit=_take_message(sitting), desk=self.desk, count=len(sitting.skipped)
        )

    def one_case(self, case: int) -> str:
        """Show one case, with the photo and the mark that the address asks for."""
        return self._show_step(self._find_step(case), self.door.visit())

    def decide(self, case: int) -> AnyResponse | tuple[str, int]:
        """Record what was pressed and go on; where somebody decided meanwhile, show that first."""
        sitting, form = self.door.visit(), request.form
        action, typed, note = form.get("action", ""), form.get("typed", ""), form.get("note", "")
        if action == "skip":
            sitting.skip(case)
            return redirect(url_for("next_case"), 303)
        step = self._find_step(case)
        if step.case != case:
            sitting.message = say("merged", case=case, into=step.case)
            return redirect(url_for("one_case", case=step.case), 303)
        try:
            choice = read_choice(step, action, typed, note)
        except ChoiceError as error:
            sitting.message = str(error)
            return self._show_step(step, sitting, typed, note), 400
        if self.desk.decide(sitting, step, form.get("seen", -1, type=int), choice) is None:
            step = self._find_step(case)
            last = step.detail.decisions[-1]
            sitting.message = say("decided_since", by=last.by, what=say_what(last))
            return self._show_step(step, sitting, typed or choice.text or "", note), 409
        return redirect(url_for("next_case"), 303)

    def undo(self) -> AnyResponse:
        """Take the last decision back and show its case."""
        case = self.desk.undo(self.door.visit())
        return redirect(url_for("next_case") if case is None else url_for("one_case", case=case), 303)

    def again(self) -> AnyResponse:
        """Bring the skipped cases back."""
        sitting = self.door.visit()
        sitting.skipped.clear()
        sitting.message = say("again_done")
        return redirect(url_for("next_case"), 303)

    def keys(self) -> AnyResponse:
        """Turn single keys on or off."""
        sitting = self.door.visit()
        sitting.keys = not sitting.keys
        return redirect(url_for("next_case"), 303)

    def picture(self, token: str, name: str) -> Response:
        """Return one picture of a sight that a page announced."""
        sight = self.pictures.find(token)
        data = self.pictures.sheet(sight).pictures.get(name) if sight else None
        if data is None:
            abort(404)
        response = Response(data, content_type=TYPES[name.rpartition(".")[2]])
        response.headers["Cache-Control"] = "private, max-age=3600, immutable"
        return response

    def _find_step(self, case: int) -> Step:
        """Return a case, or the one that it was merged into, with the photo and mark that the browser names."""
        if not 0 < case <= CASE_LARGEST:
            abort(404)
        detail = self.desk.current(case)
        if not detail.photos:
            abort(404)
        photo, mark = (request.values.get(name, type=int) for name in ("photo", "mark"))
        return make_step(detail, photo, mark)

    def _show_step(self, step: Step, sitting: Visit, typed: str = "", note: str = "") -> str:
        token = self.pictures.announce(step.sight)
        sheet = self.pictures.sheet(step.sight)
        return render_template(
            "case.html",
            step=step,
            answer=step.photo.answer,
            visit=_take_message(sitting),
            desk=self.desk,
            sheet=sheet,
            token=token,
            views=[(name, VIEWS[name].shows) for name in SHOWN_VIEWS if f"{name}.png" in sheet.pictures],
            ahead=self._prepare_next(step, sitting),
            waiting=self.desk.count_waiting(),
            typed=typed,
            note=note,
        )

    def _prepare_next(self, step: Step, sitting: Visit) -> list[str]:
        """Have the next case's pictures made, and return their addresses for the browser to fetch."""
        coming = [case for case in self.desk.next_cases(sitting) if case.id != step.case]
        if not coming:
            return []
        sight = make_step(self.desk.book.case(coming[0].id)).sight
        token = self.pictures.announce(sight)
        self.pictures.prepare(sight)
        names = ["photo.jpg"] if sight.mark is None else ["photo.jpg", "crop.jpg", *(f"{v}.png" for v in SHOWN_VIEWS)]
        return [url_for("picture", token=token, name=name) for name in names]


def show_error(error: HTTPException) -> HTTPException | tuple[str, int]:
    """Show an error as a page of ours, but for one that comes with its whole answer."""
    if error.response is not None:
        return error
    code = error.code or 500
    text = say("not_found") if code in (404, 405) else error.description or ""
    return render_template("error.html", text=text), code


def show_casebook_error(error: CasebookError) -> tuple[str, int]:
    """Say that the casebook is away, or what it does not have."""
    if error.transient:
        return render_template("error.html", text=say("casebook_away", reason=str(error))), 503
    return render_template("error.html", text=str(error)), 404


def _take_message(sitting: Visit) -> Visit:
    """Return the sitting as it is shown now; its message is told once."""
    shown = replace(sitting)
    sitting.message = ""
    return shown


def _show(value: object) -> object:
    """Return what a template shows: control characters and broken text in readings and file names as escapes."""
    if not isinstance(value, str) or isinstance(value, Markup):
        return value
    return HELD_BLANK.join(map(one_line, value.split(HELD_BLANK)))
