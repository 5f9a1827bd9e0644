"""The web server of ``serve``: textual-serve's, with doors. It wants the extra ``web``.

A page of another site that is open in the same browser must not reach the bench: a request has to
name the server as its host, and a browser says from which page it comes. Where others can reach the
server, the first request has to bring the token, and all others the cookie that it is answered
with.
"""

from __future__ import annotations

import logging
import os
import secrets
import shlex
import subprocess
import sys
from collections.abc import Awaitable, Callable
from pathlib import Path

from aiohttp import web
from textual_serve.server import Server

from workbench.system import IS_WINDOWS

MOST_WINDOWS = 8
"""Each window is a bench of its own."""

COOKIE = "quarterturn"
REFUSED = "Not for you: open the address that 'quarterturn serve' printed, with its token.\n"
POLICY = (
    "default-src 'self'; style-src 'self' 'unsafe-inline'; script-src 'self' 'unsafe-inline'; "
    "connect-src 'self'; img-src 'self' data:; font-src 'self' data:; frame-ancestors 'none'; "
    "base-uri 'none'; form-action 'none'"
)
"""What a browser may do with the page: nothing is fetched from anywhere else."""

Handler = Callable[[web.Request], Awaitable[web.StreamResponse]]


class BenchServer(Server):
    """Serves the bench on one book; ``address`` is what to open, its token included."""

    def __init__(self, book: Path, who: str, host: str, port: int, is_loopback: bool) -> None:
        command = [sys.executable, "-m", "workbench", "--book", str(book.absolute())]
        command += ["--who", who] if who else []
        # Without a shell in between, a bench whose server is gone sees that it has another parent.
        joined = subprocess.list2cmdline(command) if IS_WINDOWS else f"exec {shlex.join(command)}"
        super().__init__(joined, host, port, title="Quarterturn")
        self._token = "" if is_loopback else secrets.token_urlsafe(24)
        self._windows = 0
        named = f"[{host}]" if ":" in host else host
        self._hosts = {f"{name}:{port}" for name in (named, "localhost", "127.0.0.1", "[::1]")}
        asked = f"?token={self._token}" if self._token else ""
        self.address = f"http://{named}:{port}/{asked}"

    def initialize_logging(self) -> None:
        """Say what fails, and nothing of who comes and goes."""
        logging.basicConfig(level="ERROR", format="%(message)s")

    async def on_startup(self, app: web.Application) -> None:
        """Say nothing: the command has."""

    def serve(self, debug: bool = False) -> None:
        """Serve until it is ended; benches draw in UTF-8 whatever the terminal here has."""
        os.environ["PYTHONUTF8"] = "1"
        super().serve(debug)

    async def _make_app(self) -> web.Application:
        app = await super()._make_app()
        app.middlewares.append(self._door)
        return app

    async def handle_index(self, request: web.Request) -> web.StreamResponse:
        """Answer with the page, its addresses as the browser named the server."""
        self.public_url = f"{request.scheme}://{request.host}"
        answer: web.StreamResponse = await super().handle_index(request)
        return answer

    async def handle_websocket(self, request: web.Request) -> web.WebSocketResponse:
        """Run a bench for a window."""
        if self._windows >= MOST_WINDOWS:
            raise web.HTTPServiceUnavailable(text=f"At most {MOST_WINDOWS} windows.\n")
        self._windows += 1
        try:
            return await super().handle_websocket(request)
        finally:
            self._windows -= 1

    @web.middleware
    async def _door(self, request: web.Request, handler: Handler) -> web.StreamResponse:
        if not self._may(request):
            return web.Response(status=403, text=REFUSED)
        answer = await handler(request)
        if not answer.prepared:
            answer.headers["Content-Security-Policy"] = POLICY
            answer.headers["Referrer-Policy"] = "no-referrer"
            answer.headers["Cache-Control"] = "no-store"
            if self._token and request.path == "/":
                answer.set_cookie(COOKIE, self._token, httponly=True, samesite="Strict")
        return answer

    def _may(self, request: web.Request) -> bool:
        origin = request.headers.get("Origin")
        if origin is not None and origin != f"{request.scheme}://{request.host}":
            return False
        if request.path == "/ws" and origin is None:
            return False
        if not self._token:
            return request.host in self._hosts
        brought = request.cookies.get(COOKIE, "")
        if request.path == "/":
            brought = request.query.get("token", brought)
        return secrets.compare_digest(brought.encode(), self._token.encode())
