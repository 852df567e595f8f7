"""Who is let in to the page, and what a browser may do with what it gets.

Only the browser that opened the address with the key is let in (a cookie that is signed, HttpOnly and SameSite=Strict);
the Host header must be this server's own, against DNS rebinding; every form carries a token of the sitting, against
requests from other pages (CSRF); the content security policy allows nothing but our own files and no inline script.
"""

from __future__ import annotations

import hmac
import secrets
from collections.abc import Collection
from urllib.parse import urlsplit

from flask import Flask, Response, abort, redirect, request, session, url_for
from werkzeug.wrappers import Response as AnyResponse

from pipelines.review.catalog import say
from pipelines.review.steps import Visit

POLICY = (
    "default-src 'none'; img-src 'self'; style-src 'self'; script-src 'self'; form-action 'self'; base-uri 'none'; "
    "frame-ancestors 'none'"
)

HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}

FORM_LIMIT_BYTES = 20_000
"""A form of ours has a few hundred bytes."""

VISITS_MOST = 50
"""Sittings remembered; the oldest is forgotten first, and its browser comes in again with the key."""

MISDIRECTED = 421
"""HTTP status: this server does not answer under that name (RFC 9110)."""


class Door:
    """Checks every request of an application, and keeps the sittings of the browsers that were let in."""

    def __init__(self, app: Flask, key: str, hosts: Collection[str]) -> None:
        self.key = key
        self.hosts = frozenset(hosts)
        self.visits: dict[str, Visit] = {}
        app.config.update(
            SECRET_KEY=secrets.token_bytes(32),
            SESSION_COOKIE_NAME="rakelight_review",
            SESSION_COOKIE_HTTPONLY=True,
            SESSION_COOKIE_SAMESITE="Strict",
            MAX_CONTENT_LENGTH=FORM_LIMIT_BYTES,
        )
        app.before_request(self.check_request)
        app.after_request(add_headers)
        app.add_url_rule("/enter/<given>", view_func=self.enter)

    def visit(self) -> Visit:
        """Return the sitting of the browser that asks; refuse one that has none."""
        found = self.visits.get(session.get("visit", ""))
        if found is None:
            abort(403, say("need_key"))
        return found

    def check_request(self) -> None:
        """Refuse other hosts, browsers without the key, and forms that are not ours."""
        if request.host not in self.hosts:
            abort(Response(say("bad_host"), MISDIRECTED, content_type="text/plain; charset=utf-8"))
        if request.endpoint in ("enter", "static"):
            return
        sitting = self.visit()
        if request.method == "POST":
            origin = request.headers.get("Origin")
            foreign = origin is not None and urlsplit(origin).netloc != request.host
            token = request.form.get("token", "").encode()
            if foreign or not hmac.compare_digest(token, sitting.token.encode()):
                abort(403, say("bad_token"))

    def enter(self, given: str) -> AnyResponse:
        """Let a browser in that has the key."""
        if not hmac.compare_digest(given.encode(), self.key.encode()):
            abort(403, say("need_key"))
        if session.get("visit") not in self.visits:
            name = secrets.token_urlsafe(16)
            session["visit"] = name
            self.visits[name] = Visit(secrets.token_urlsafe(32))
            while len(self.visits) > VISITS_MOST:
                self.visits.pop(next(iter(self.visits)))
        return redirect(url_for("next_case"), 303)


def add_headers(response: Response) -> Response:
    """Add the headers that every answer has."""
    response.headers.update(HEADERS)
    response.headers.setdefault("Cache-Control", "no-store")
    return response
