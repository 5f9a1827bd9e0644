"""Makes the picture in README.md from the real screen: ``python -m tests.bench.picture``."""

from __future__ import annotations

import asyncio
import re
import tempfile
from datetime import date
from pathlib import Path

from workbench.bench.app import Bench
from workbench.work.demo import build_demo
from workbench.work.job.shop import Shop

OUT = Path(__file__).parents[2] / "fixtures" / "bench.svg"
DAY = date(2026, 6, 12)


async def picture(keys: tuple[str, ...], size: tuple[int, int] = (120, 36)) -> str:
    """Return the bench after these keys, as SVG without fonts from the net."""
    with tempfile.TemporaryDirectory() as folder:
        book = build_demo(Path(folder) / "demo.db", DAY)
        app = Bench(Shop(book, DAY.isoformat()))
        async with app.run_test(size=size) as pilot:
            await pilot.pause()
            for key in keys:
                await pilot.press(key)
            await pilot.pause(0.2)
            svg = app.export_screenshot(title="quarterturn demo")
        book.close()
    return re.sub(r"@font-face\s*{[^}]*}", "", svg).replace("Fira Code", "DejaVu Sans Mono")


if __name__ == "__main__":
    OUT.write_text(asyncio.run(picture(("pagedown", "enter"))), encoding="utf-8")
    print(f"wrote {OUT.name}")
