"""The bench in a browser: who may come in, and a ski set on a tablet by taps and a scanner."""

from __future__ import annotations

import asyncio
import os
import shutil
import signal
import socket
import subprocess
import sys
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest
from aiohttp import ClientSession, ClientWebSocketResponse
from aiohttp.test_utils import TestClient, TestServer

from tests.bench.speed_book import keys_due
from workbench.bench.panels.next_line import PAD
from workbench.commands.shop.program import is_loopback
from workbench.commands.shop.serve_web import COOKIE, BenchServer
from workbench.records.book import Book
from workbench.work.demo import build_demo
from workbench.work.job.shop import Shop

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser"))), None)
TABLET = {"width": 1024, "height": 768, "deviceScaleFactor": 1, "mobile": True}
PATIENCE_S = 100.0
"""Far longer than it takes on a machine that is busy."""

KEEP_SIZE = """const send = WebSocket.prototype.send;
WebSocket.prototype.send = function (data) {
    if (String(data).startsWith('["resize"')) window.cells = JSON.parse(data)[1];
    return send.call(this, data);
};"""
"""Remembers of what size the page says that its terminal is: cells across and down."""

EVIL = {"Origin": "http://evil.example"}


@pytest.mark.parametrize(
    ("host", "own"),
    [
        ("127.0.0.1", True), ("127.3.2.1", True), ("::1", True), ("localhost", True),
        ("0.0.0.0", False), ("192.168.4.20", False), ("::", False), ("bench.example", False),
    ],
)  # fmt: skip
def test_only_the_loopback_goes_without_a_token(host: str, own: bool) -> None:
    assert is_loopback(host) is own
    server = BenchServer(Path("shop.db"), "", host, 8765, own)
    assert ("?token=" in server.address) is not own


@asynccontextmanager
async def door(own: bool) -> AsyncIterator[tuple[BenchServer, TestClient[Any, Any]]]:
    """A server whose benches are never begun."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    server = BenchServer(Path("shop.db"), "", "127.0.0.1", port, own)
    server.command = "true"
    async with TestClient(TestServer(await server._make_app(), port=port)) as client:
        yield server, client


async def test_on_the_loopback_no_other_site_comes_in() -> None:
    """Neither under another name, which a page's own server can give this machine, nor by a page
    of another site."""
    async with door(True) as (server, client):
        answer = await client.get("/")
        assert answer.status == 200
        assert "default-src 'self'" in answer.headers["Content-Security-Policy"]
        assert f"ws://127.0.0.1:{server.port}/ws" in await answer.text()
        for path, headers in (
            ("/", {"Host": "evil.example"}), ("/", EVIL), ("/ws", EVIL), ("/ws", {}),
            ("/static/js/textual.js", EVIL),
        ):  # fmt: skip
            assert (await client.get(path, headers=headers)).status == 403, (path, headers)


async def test_elsewhere_nobody_comes_in_without_the_token() -> None:
    """Whoever opens the address gets a cookie, which the page then brings."""
    async with door(False) as (server, client):
        token = server.address.partition("token=")[2]
        own = {"Origin": f"http://127.0.0.1:{server.port}"}
        for path in ("/", "/?token=", f"/?token={token[:-1]}", "/ws", "/static/js/textual.js"):
            assert (await client.get(path, headers=own)).status == 403, path
        answer = await client.get(f"/?token={token}")
        assert answer.status == 200
        cookie = answer.cookies[COOKIE]
        assert (cookie.value, cookie["httponly"], cookie["samesite"]) == (token, True, "Strict")
        assert (await client.get("/static/js/textual.js", headers=own)).status == 200
        assert (await client.get("/ws", headers=EVIL)).status == 403
        async with client.ws_connect("/ws", headers=own) as socket_:
            assert not socket_.closed


class Browser:
    """A page of a real browser, driven by its debugging protocol."""

    def __init__(self, page: ClientWebSocketResponse) -> None:
        self._page = page
        self._number = 0

    async def send(self, method: str, **more: Any) -> int:
        """Ask for something and go on."""
        self._number += 1
        await self._page.send_json({"id": self._number, "method": method, "params": more})
        return self._number

    async def call(self, method: str, **more: Any) -> Any:
        """Ask for something and wait for the answer."""
        number = await self.send(method, **more)
        while (answer := await self._page.receive_json()).get("id") != number:
            pass
        return answer.get("result")

    async def tap(self, x: int, y: int) -> None:
        """Touch the screen with a finger."""
        point = [{"x": x, "y": y}]
        await self.call("Input.dispatchTouchEvent", type="touchStart", touchPoints=point)
        await self.call("Input.dispatchTouchEvent", type="touchEnd", touchPoints=[])

    async def scan(self, text: str) -> None:
        """Send a text and Enter as a scanner that works as a keyboard does, without a pause."""
        for char in text:
            await self.send("Input.dispatchKeyEvent", type="keyDown", text=char, key=char)
            await self.send("Input.dispatchKeyEvent", type="keyUp", key=char)
        enter = {"key": "Enter", "code": "Enter", "windowsVirtualKeyCode": 13}
        await self.send("Input.dispatchKeyEvent", type="keyDown", text="\r", **enter)
        await self.call("Input.dispatchKeyEvent", type="keyUp", **enter)

    async def evaluate(self, asked: str) -> Any:
        """The value of an expression in the page."""
        found = await self.call("Runtime.evaluate", expression=asked, returnByValue=True)
        return found["result"].get("value")

    async def is_drawn(self) -> bool:
        """Whether the bench has drawn something."""
        return bool(await self.evaluate("document.body.classList.contains('-first-byte')"))


@asynccontextmanager
async def browser(folder: Path) -> AsyncIterator[Browser]:
    """A headless browser with one page of a tablet's size that takes touches."""
    assert CHROMIUM is not None
    process = subprocess.Popen(
        [CHROMIUM, "--headless=new", "--no-sandbox", "--disable-gpu", "--remote-debugging-port=0",
         f"--user-data-dir={folder}", "about:blank"],
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True,
    )  # fmt: skip
    port_file = folder / "DevToolsActivePort"
    try:
        await until(lambda: port_file.exists() and port_file.read_text().count("\n") > 0)
        port = port_file.read_text().split()[0]
        async with ClientSession() as session:
            async with session.get(f"http://127.0.0.1:{port}/json") as answer:
                pages = [each for each in await answer.json() if each["type"] == "page"]
            async with session.ws_connect(pages[0]["webSocketDebuggerUrl"], max_msg_size=0) as page:
                found = Browser(page)
                await found.call("Emulation.setDeviceMetricsOverride", **TABLET)
                await found.call("Emulation.setTouchEmulationEnabled", enabled=True)
                yield found
    finally:
        os.killpg(process.pid, signal.SIGTERM)
        process.wait(PATIENCE_S)


async def until(holds: Callable[[], Any]) -> None:
    """Wait for something that takes as long as it takes."""
    async with asyncio.timeout(PATIENCE_S):
        while True:
            found = holds()
            if await found if asyncio.iscoroutine(found) else found:
                return
            await asyncio.sleep(0.2)


@pytest.mark.skipif(CHROMIUM is None, reason="no chromium here")
async def test_a_ski_is_set_on_a_tablet_by_taps_and_a_scanner(tmp_path: Path) -> None:
    """In a real browser: a tap takes a ski of the queue, a scanner another, and that goes from
    received to signed off by taps alone."""
    path = tmp_path / "demo.db"
    with build_demo(path) as book:
        book.set_setting("repeats", "1", who="KV")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "workbench", "--book", str(path), "--who", "KV", "serve"]
    server = subprocess.Popen(
        [*command, "--port", str(port)], stdout=subprocess.PIPE, start_new_session=True
    )
    try:
        assert server.stdout is not None
        assert f"http://127.0.0.1:{port}/".encode() in server.stdout.readline()
        with Book(path) as book:
            async with browser(tmp_path / "browser") as shown:
                await until(lambda: can_connect(port))
                await shown.call("Page.enable")
                await shown.call("Page.addScriptToEvaluateOnNewDocument", source=KEEP_SIZE)
                await shown.call("Page.navigate", url=f"http://127.0.0.1:{port}/")
                await until(shown.is_drawn)
                await taken_by_tap_and_scanner(shown, book)
                await set_by_taps(shown, Shop(book, who="KV"))
    finally:
        os.killpg(server.pid, signal.SIGTERM)
        server.wait(PATIENCE_S)


def can_connect(port: int) -> bool:
    """Whether somebody listens there."""
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


async def taken_by_tap_and_scanner(shown: Browser, book: Book) -> None:
    """Go by what the book says, since the page is a drawing."""

    def in_hand() -> str:
        job = book.setting("job")
        return book.ski(book.job(job).ski_id).name if job else ""

    async def tap_queue(row: int, name: str) -> None:
        async with asyncio.timeout(PATIENCE_S):
            while in_hand() != name:
                await shown.tap(120, 48 + 38 * row)
                await asyncio.sleep(1.0)

    await tap_queue(1, "Heron 67")
    await asyncio.sleep(2.0)  # for a second tap that is still on its way
    await shown.scan("H66-014")
    await until(lambda: in_hand() == "Heron 66")


async def set_by_taps(shown: Browser, shop: Shop) -> None:
    """Set the ski in hand by the keys for fingers, as what is due says; nothing else is pressed."""
    cells, px = await shown.evaluate("""[window.cells, (({left, top, width, height}) =>
        ({left, top, width, height}))(document.querySelector('.xterm-screen')
        .getBoundingClientRect())]""")
    wide = cells["width"] // len(PAD[0])
    places = {
        key: (
            int(px["left"] + (column + 0.5) * wide * px["width"] / cells["width"]),
            int(px["top"] + px["height"] - (5 - 3 * row) * px["height"] / cells["height"]),
        )
        for row, keys in enumerate(PAD)
        for column, key in enumerate(keys)
    }
    job_id = shop.book.setting("job") or ""
    await asyncio.sleep(1.0)  # the scanner's Enter is its own for a while
    assert shop.view(job_id).stage == "waiting"
    for kind, key in keys_due(shop, job_id):
        before = shop.view(job_id).seen
        await shown.tap(*places[{b"\r": "Enter", b" ": "space"}.get(key, key.decode())])
        if kind == "digit":
            await asyncio.sleep(0.06)
            continue
        for _ in range(20):  # some keys ask before they keep
            await asyncio.sleep(0.1)
            if shop.view(job_id).seen != before:
                break
        else:
            if kind == "tick":  # the Enter that begins the check came on the scanner's heels
                await shown.tap(*places["Enter"])
    assert shop.view(job_id).stage == "signed off"
