"""What stands before the page's server: only this machine's own page is answered, and nothing too large is read."""

from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

LARGEST = 64_000_000  # bytes of one request: a study with its CSV files
HEADERS = {
    # The page's styles set widths by themselves in no place; blob: is for the pictures that it makes and hands out.
    "content-security-policy": "default-src 'self'; img-src 'self' blob: data:; object-src 'none'; base-uri 'none'; "
    "form-action 'none'; frame-ancestors 'none'",
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "cache-control": "no-store",
}


class TooLarge(Exception):
    """A request's body is larger than what is read; the app answers with status 413."""


def guarded(app: App, port: int) -> App:
    """The app behind its checks: Host must be this server's own address, Origin (of whatever changes or asks) too.

    A page from elsewhere that a browser is lured to can reach 127.0.0.1: a name of its own that leads here shows in Host, its own
    address in Origin.
    """
    hosts = {f"127.0.0.1:{port}", f"localhost:{port}"}
    origins = {f"http://{host}" for host in hosts}

    async def checked(scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request, or refuse it."""
        if scope["type"] != "http":
            return
        headers = {key.decode("latin-1").lower(): value.decode("latin-1") for key, value in scope["headers"]}
        reason = refusal(scope["method"], headers, hosts, origins)
        if reason:
            await _refuse(send, 403 if reason != "too large" else 413, reason)
            return
        await app(scope, _counted(receive), _with_headers(send))

    return checked


def refusal(method: str, headers: dict[str, str], hosts: set[str], origins: set[str]) -> str:
    """Why a request is not answered; empty where it is."""
    if headers.get("host", "") not in hosts:
        return "this address is not served here"
    origin = headers.get("origin")
    if method not in ("GET", "HEAD") and origin is None:
        return "a request that changes something says where it comes from"
    if origin is not None and origin not in origins:
        return "requests from other pages are not answered"
    if headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
        return "requests from other pages are not answered"
    length = headers.get("content-length", "0")
    return "too large" if not length.isdigit() or int(length) > LARGEST else ""


def _with_headers(send: Send) -> Send:
    async def sending(message: MutableMapping[str, Any]) -> None:
        if message["type"] == "http.response.start":
            own = [(key.encode(), value.encode()) for key, value in HEADERS.items()]
            message = {**message, "headers": [*message.get("headers", []), *own]}
        await send(message)

    return sending


def _counted(receive: Receive) -> Receive:
    """The body counted while it is read: it may be longer than it says, or say nothing. Raises TooLarge."""
    count = 0

    async def counted() -> MutableMapping[str, Any]:
        nonlocal count
        message = await receive()
        count += len(message.get("body", b""))
        if count > LARGEST:
            raise TooLarge
        return message

    return counted


async def _refuse(send: Send, status: int, reason: str) -> None:
    body = f"{reason}\n".encode()
    headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"content-length", str(len(body)).encode())]
    await _with_headers(send)({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
