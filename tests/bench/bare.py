"""The least there is to compare with: a Textual app with a header and a footer."""

from __future__ import annotations

from textual.app import App, ComposeResult
from textual.widgets import Footer, Header


class Bare(App[None]):
    """Header, footer, nothing else."""

    BINDINGS = [("q", "quit", "leave-marker")]

    def compose(self) -> ComposeResult:
        """Lay it out."""
        yield Header()
        yield Footer()


if __name__ == "__main__":
    Bare().run()
