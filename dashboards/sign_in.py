"""Signing in and out: two plain pages that need no script."""

from __future__ import annotations

import hmac
import secrets
from html import escape
from typing import TYPE_CHECKING, Any
from urllib.parse import quote, urlsplit

from flask import Flask, Request, Response, jsonify, make_response, redirect, request

from cellmon import local
from cellmon.errors import NotSignedIn
from cellmon.words import say
from dashboards import counted
from dashboards.attempts import TooOften
from dashboards.sign_ins import SHARED_LONGEST_S, form_token

if TYPE_CHECKING:
    from dashboards.gate import Gate

PATH, OUT = "/sign-in", "/sign-out"
LONGEST_FORM = 16_384
STYLE, DRESS = "/assets/cellmon.css", "/assets/dress.js"
"""How it looks; the script only makes it dark at night, and without it the page works as well."""


def register(server: Flask, gate: Gate) -> None:
    """Add both pages."""

    @server.get(PATH)
    def sign_in_page() -> Response:
        return form_page(gate, next_=request.args.get("next"))

    @server.post(PATH)
    def signed_in() -> Response:
        return sign_in(gate)

    @server.get(OUT)
    def sign_out_page() -> Response:
        return leaving_page(gate)

    @server.post(OUT)
    def signed_out() -> Response:
        return sign_out(gate)


def asked_for(asked: Request, words: str) -> Response:
    """Answer a request of somebody who is not signed in: the way in to a person, a sentence to a program.

    A link from elsewhere comes without its cookie, because of SameSite=Strict; the browser is asked to come
    again, now from here.
    """
    if asked.method != "GET" or asked.path.startswith(("/_", "/pulse", "/metrics")):
        answer: Response = jsonify({"error": words})
        answer.status_code = 401
        return answer
    here = asked.full_path.rstrip("?")
    if asked.headers.get("Sec-Fetch-Site") == "cross-site":
        again = f'<meta http-equiv="refresh" content="0;url={escape(here)}">'
        link = f'<p><a href="{escape(here)}">{escape(say("Go on"))}</a></p>'
        return make_response(_document(say("Sign in"), link, head=again))
    way: Response = redirect(f"{PATH}?next={quote(here, safe='')}", code=303)  # type: ignore[assignment]
    return way


def form_page(
    gate: Gate, *, next_: str | None, wrong: str = "", name: str = "", status: int = 200
) -> Response:
    """Return the page that asks for a name and a password."""
    counted.why(wrong)
    token = request.cookies.get(_form_cookie(request)) or secrets.token_urlsafe(32)
    if not gate.how.sign_in:
        body = f"<p>{escape(say('On this machine nobody is asked who they are.'))}</p>"
        return make_response(_document(say("Sign in"), body))
    told = f'<p class="notice" role="alert">{escape(wrong)}</p>' if wrong else ""
    body = f"""{told}<form method="post" action="{PATH}" class="sign-in">
<label class="field">{escape(say("Name"))}<input name="name" value="{escape(name)}" autocomplete="username"
 autocapitalize="off" spellcheck="false" required maxlength="60"{"" if name else " autofocus"}></label>
<label class="field">{escape(say("Password"))}<input name="password" type="password"
 autocomplete="current-password" required maxlength="1024"{" autofocus" if name else ""}></label>
<input type="hidden" name="next" value="{escape(_inside(next_))}">
<input type="hidden" name="form" value="{escape(token)}">
<button class="step">{escape(say("Sign in"))}</button>
</form>"""
    answer = make_response(_document(say("Sign in"), body), status)
    answer.set_cookie(_form_cookie(request), token, **_guarded(request))
    return answer


def sign_in(gate: Gate) -> Response:
    """Answer what was typed: into the page that was wanted, or back with a sentence."""
    request.max_content_length = LONGEST_FORM
    typed = {key: request.form.get(key, "") for key in ("name", "password", "next", "form")}
    kept = request.cookies.get(_form_cookie(request), "")
    if not kept or not _same(typed["form"], kept):
        return form_page(
            gate, next_=typed["next"], wrong=say("This page was open too long. Try again."), status=400
        )
    try:
        ticket = gate.let_in(typed["name"], typed["password"], request.remote_addr or "")
    except TooOften as refusal:
        answer = form_page(gate, next_=typed["next"], wrong=str(refusal), name=typed["name"][:60], status=429)
        answer.headers["Retry-After"] = str(int(refusal.wait_s) + 1)
        return answer
    except NotSignedIn as refusal:
        return form_page(gate, next_=typed["next"], wrong=str(refusal), name=typed["name"][:60], status=401)
    gate.sign_ins.end(request.cookies.get(cookie_name(request)))
    answer = redirect(_inside(typed["next"]), code=303)  # type: ignore[assignment]
    person = gate.sign_ins.whose(ticket, gate.people(), used=True)
    lasts = int(SHARED_LONGEST_S) if person is not None and person.shared else None
    answer.set_cookie(cookie_name(request), ticket, max_age=lasts, **_guarded(request))
    answer.delete_cookie(_form_cookie(request), **_guarded(request))
    return answer


def leaving_page(gate: Gate) -> Response:
    """Return the page that asks whether to sign out."""
    ticket = request.cookies.get(cookie_name(request), "")
    body = f"""<p>{escape(say("What was written and not kept yet is lost."))}</p>
<form method="post" action="{OUT}" class="sign-in">
<input type="hidden" name="form" value="{escape(form_token(ticket))}">
<button class="step">{escape(say("Sign out"))}</button> <a href="/">{escape(say("Stay"))}</a>
</form>"""
    return make_response(_document(say("Sign out"), body))


def sign_out(gate: Gate) -> Response:
    """Sign out, and show the way in."""
    request.max_content_length = LONGEST_FORM
    ticket = request.cookies.get(cookie_name(request), "")
    if not _same(request.form.get("form", ""), form_token(ticket)):
        return make_response(_document(say("Sign out"), f"<p>{escape(say('Try again.'))}</p>"), 400)
    gate.sign_ins.end(ticket)
    answer: Response = redirect(PATH, code=303)  # type: ignore[assignment]
    answer.delete_cookie(cookie_name(request), **_guarded(request))
    return answer


def cookie_name(asked: Request) -> str:
    """Return the name of the cookie with the ticket: browsers send one port's cookies to all of a host."""
    return f"cellmon-{urlsplit(f'//{asked.host}').port or asked.scheme}"


def _form_cookie(asked: Request) -> str:
    return f"{cookie_name(asked)}-form"


def _guarded(asked: Request) -> dict[str, Any]:
    """Return how every cookie is set: scripts never see it, other sites never send it, https where it can."""
    return {"httponly": True, "samesite": "Strict", "secure": asked.scheme == "https", "path": "/"}


def _same(given: str, kept: str) -> bool:
    return hmac.compare_digest(given.encode("utf-8", "surrogatepass"), kept.encode("utf-8", "surrogatepass"))


def _inside(path: str | None) -> str:
    """Return a path of ours; the first page for anything that could lead elsewhere."""
    wanted = path or "/"
    elsewhere = not wanted.startswith("/") or wanted.startswith("//") or "\\" in wanted
    return "/" if elsewhere or not wanted.isprintable() or wanted.startswith((PATH, OUT)) else wanted


def _document(title: str, body: str, *, head: str = "") -> str:
    return f"""<!DOCTYPE html>
<html lang="{escape(local.language())}"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">{head}
<title>{escape(title)}</title><link rel="stylesheet" href="{STYLE}"><script src="{DRESS}"></script></head>
<body><main><h1 class="lead">{escape(title)}</h1>
{body}
</main></body></html>"""
