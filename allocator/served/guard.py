"""Who is let in: only this computer's browser, only with the token, and nothing that another page sent.

Against what: another user or program of this computer that finds the port (the token); a page elsewhere that makes the
browser ask (the cookie is not sent along, and what changes anything needs a second token that stands in our own forms
only); a name elsewhere that is made to lead here (`Host` must be a name of this computer: DNS rebinding). See OWASP,
Cross-Site Request Forgery Prevention Cheat Sheet.
"""

import hmac
from collections.abc import Callable
from http.cookies import CookieError, SimpleCookie
from secrets import token_urlsafe
from urllib.parse import parse_qs, urlsplit

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

NAMES = ("127.0.0.1", "localhost")
"""What this computer may be called here; we listen on the first."""

USUAL_PORT = 80
"""Browsers leave this one out of `Host`: RFC 9110, 4.2.1."""

MOST_BODY_BYTES = 16 * 1024
MOST_QUERY_BYTES = 4 * 1024
MOST_FIELDS = 50
"""Forms of a few short fields need no more (judgement)."""

FORM, FORM_TOKEN = "allocator.form", "allocator.form_token"
"""Where in a request's scope the guard leaves what it has read, and what our own forms must send."""

ALLOWED_FROM = {"same-origin", "none"}
HEADERS = {
    "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; img-src data:; script-src 'self'; "
    "connect-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cache-Control": "no-store",
}

NOT_HERE = (
    "This page opens only with the whole address that was printed where it was started. Copy it from there."
)


FAULT = "This is a fault of the tool, not of your files. Please report it."


class RefusedError(Exception):
    """A request that is not let in: the status and why."""

    def __init__(self, status: int, why: str) -> None:
        super().__init__(why)
        self.status, self.why = status, why


class Guard:
    """Stands before the application and lets in what is ours.

    Parameters
    ----------
    inner
        The application.
    refused
        Makes the page of a refusal, from the status and a sentence.
    fault
        Called with an exception that the application did not expect; the browser is told that there was one.
    port
        The port in use, 0 to take any; it names the cookie, since cookies do not tell ports apart.
    """

    def __init__(
        self,
        inner: ASGIApp,
        refused: Callable[[int, str], Response],
        fault: Callable[[Exception], None],
        port: int = 0,
    ) -> None:
        self._inner, self._refused, self._fault = inner, refused, fault
        self._port = port
        self._cookie = f"allocator-{port}"
        self.token = token_urlsafe(32)
        self.form_token = token_urlsafe(32)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request in, or refuse it."""
        if scope["type"] == "lifespan":
            await self._inner(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        begun = False

        async def send_guarded(message: Message) -> None:
            nonlocal begun
            if message["type"] == "http.response.start":
                begun = True
                ours = [(name.lower().encode(), value.encode()) for name, value in HEADERS.items()]
                message = {**message, "headers": [*message.get("headers", []), *ours]}
            await send(message)

        request = Request(scope, receive)
        try:
            arrived = self._arrived(request)
            if arrived is None:
                scope[FORM] = await self._form_of(request)
                scope[FORM_TOKEN] = self.form_token
                await self._inner(scope, receive, send_guarded)
                return
        except RefusedError as refused:
            arrived = self._refused(refused.status, refused.why)
        except Exception as fault:  # noqa: BLE001 - the last stop before the browser
            self._fault(fault)
            if begun:
                return
            arrived = self._refused(500, FAULT)
        await arrived(scope, receive, send_guarded)

    def _arrived(self, request: Request) -> Response | None:
        """Return the way in for whoever brings the token; None for whoever is in already.

        Raises
        ------
        RefusedError
            For everybody else.
        """
        if not self._is_ours(request.headers.getlist("host")):
            raise RefusedError(403, NOT_HERE)
        if request.method not in {"GET", "HEAD", "POST"}:
            raise RefusedError(405, "There is nothing of this kind here.")
        if len(request.scope["query_string"]) > MOST_QUERY_BYTES:
            raise RefusedError(414, "The address is too long.")
        brought = request.query_params.get("token")
        if brought is not None and request.method == "GET" and request.url.path == "/":
            if not _same(brought, self.token):
                raise RefusedError(403, NOT_HERE)
            answer = RedirectResponse("/", status_code=303)
            answer.set_cookie(self._cookie, self.token, httponly=True, samesite="strict", path="/")
            return answer
        if not self._has_cookie(request.headers.getlist("cookie")):
            raise RefusedError(403, NOT_HERE)
        if request.headers.get("sec-fetch-site", "none") not in ALLOWED_FROM:
            raise RefusedError(403, NOT_HERE)
        return None

    def _has_cookie(self, headers: list[str]) -> bool:
        """Tell whether our cookie is among those sent.

        Others at this address may have theirs, in whatever shape, and one may have tried to put its own in our place.
        """
        for header in headers:
            for part in header.split(";"):
                try:
                    cookie = SimpleCookie(part.strip()).get(self._cookie)
                except CookieError:
                    continue
                if cookie is not None and _same(cookie.value, self.token):
                    return True
        return False

    def _is_ours(self, hosts: list[str]) -> bool:
        """Tell whether a request is for a name of this computer, and for our port where one is known."""
        if len(hosts) != 1:
            return False
        name, _, port = hosts[0].lower().partition(":")
        return name in NAMES and (not self._port or (port or str(USUAL_PORT)) == str(self._port))

    async def _form_of(self, request: Request) -> dict[str, str]:
        """Return the fields of a form that is posted, the last where one comes twice; without the token they are refused.

        Raises
        ------
        RefusedError
            If it is too large, no form, or not from a page of ours.
        """
        if request.method != "POST":
            return {}
        origin = request.headers.get("origin")
        if origin is not None and not self._is_ours([urlsplit(origin).netloc]):
            raise RefusedError(403, NOT_HERE)
        body = b""
        async for part in request.stream():
            body += part
            if len(body) > MOST_BODY_BYTES:
                raise RefusedError(413, "This is more than a form can hold.")
        kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
        if kind != "application/x-www-form-urlencoded":
            raise RefusedError(415, "This is not a form of ours.")
        try:
            fields = parse_qs(body.decode("ascii"), max_num_fields=MOST_FIELDS, keep_blank_values=True)
        except ValueError:
            raise RefusedError(400, "This form cannot be read.") from None
        form = {name: values[-1] for name, values in fields.items()}
        if not _same(form.pop("form_token", ""), self.form_token):
            raise RefusedError(
                403,
                "This form is from an earlier run of the page. Go back, load the page anew, and try again.",
            )
        return form


def _same(one: str, other: str) -> bool:
    """Compare secrets in a time that does not tell how much of them is right."""
    return hmac.compare_digest(one.encode("utf-8", "surrogatepass"), other.encode())
