"""The bench's own themes: night, day and high contrast, in blue and orange.

Blue against orange stays apart for nearly everyone; even so every state also has a glyph and a
word, so that nothing is lost where there is no colour at all.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from textual.app import App
from textual.theme import BUILTIN_THEMES, Theme

from workbench.frozen import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class _Inks:
    """The colours of a theme by what they say."""

    now: str
    wanted: str
    plain: str
    faint: str
    stud: str
    due_ground: str
    due_letters: str
    danger: str
    primary: str
    secondary: str
    error: str


_VARIABLES: dict[str, tuple[str, str]] = {
    "ink-now": ("now", "ansi_bright_blue"),
    "ink-wanted": ("wanted", "ansi_yellow"),
    "ink-base": ("plain", "ansi_default"),
    "ink-stud": ("stud", "ansi_cyan"),
    "ink-reading": ("plain", "ansi_default"),
    "ink-faint": ("faint", "ansi_default"),
    "state-within": ("now", "ansi_bright_blue"),
    "state-outside": ("wanted", "ansi_yellow"),
    "state-caution": ("wanted", "ansi_yellow"),
    "state-danger": ("danger", "ansi_bright_red"),
    "state-waiting": ("faint", "ansi_default"),
    "due-background": ("due_ground", "ansi_blue"),
    "due-foreground": ("due_letters", "ansi_bright_white"),
    "big-digits": ("plain", "ansi_default"),
}
"""Our CSS variables: the ink of each, and a value that any theme can show."""

VARIABLE_DEFAULTS = {name: default for name, (_, default) in _VARIABLES.items()}
"""The app returns them from ``get_theme_variable_defaults``: a sheet that names a variable without
a default fails to parse under every other theme."""


def _theme(name: str, inks: _Inks, grounds: tuple[str, str, str]) -> Theme:
    """Return a theme in these colours; ``grounds`` are background, surface and panel."""
    variables = {name: getattr(inks, ink) for name, (ink, _) in _VARIABLES.items()}
    background, surface, panel = grounds
    return Theme(
        name=name,
        primary=inks.primary,
        secondary=inks.secondary,
        accent=inks.wanted,
        warning=inks.wanted,
        error=inks.error,
        success=inks.now,
        foreground=inks.plain,
        background=background,
        surface=surface,
        panel=panel,
        variables=variables | {"footer-key-foreground": inks.wanted},
    )


NIGHT = _theme(
    "bench-night",
    _Inks(
        now="#7CC4F5", wanted="#F2A541", plain="#E8ECF0", faint="#9AA7B3", stud="#B9C7D3",
        due_ground="#F2A541", due_letters="#11161B", danger="#FF8A5B",
        primary="#5AA9E6", secondary="#3C6E97", error="#FF8A5B",
    ),
    ("#11161B", "#182027", "#222D36"),
)  # fmt: skip

DAY = replace(
    _theme(
        "bench-day",
        _Inks(
            now="#0B5394", wanted="#9A4A00", plain="#1A1F24", faint="#56606A", stud="#3B4650",
            due_ground="#0B5394", due_letters="#FFFFFF", danger="#A01800",
            primary="#0B5394", secondary="#3D6F9E", error="#A33B00",
        ),
        ("#F7F5F0", "#EFECE5", "#E3DFD5"),
    ),
    dark=False,
)  # fmt: skip

_PLAIN = _theme(
    "bench-contrast",
    _Inks(
        now="#8FD3FF", wanted="#FFC04D", plain="#FFFFFF", faint="#E0E0E0", stud="#FFFFFF",
        due_ground="#FFFFFF", due_letters="#000000", danger="#FF9A80",
        primary="#8FD3FF", secondary="#8FD3FF", error="#FFC04D",
    ),
    ("#000000", "#000000", "#000000"),
)  # fmt: skip
CONTRAST = replace(
    _PLAIN,
    text_alpha=1.0,
    variables={
        **_PLAIN.variables,
        "border": "#FFFFFF",
        "border-blurred": "#FFFFFF",
        "block-cursor-background": "#FFFFFF",
        "block-cursor-foreground": "#000000",
        "input-selection-background": "#005A9C",
    },
)

THEMES: tuple[Theme, ...] = (NIGHT, DAY, CONTRAST)
NAMES: tuple[str, ...] = tuple(theme.name for theme in THEMES)


def register(app: App[Any]) -> None:
    """Make the bench's themes known to the app, without choosing one."""
    for theme in THEMES:
        app.register_theme(theme)


def begin_with(app: App[Any], name: str) -> None:
    """Choose the theme of an app that does not run yet, so that no style is worked out twice."""
    if name not in NAMES:  # the terminal's own colours need more than variables
        app.theme = name
        return
    app.set_reactive(App.theme, name)
    dark = app.current_theme.dark
    classes = {f"-theme-{name}": True, "-dark-mode": dark, "-light-mode": not dark}
    app.update_classes(classes, update=False)
    app.stylesheet.set_variables(app.get_css_variables())


def pick(no_color: bool, wanted: str = NIGHT.name) -> str:
    """Return the theme to start with: ``wanted``, or the terminal's own colours for NO_COLOR.

    ``no_color`` is whether the variable NO_COLOR is set and not empty (no-color.org). A ``wanted``
    that is none of ours gives the night theme.
    """
    if no_color:
        return next(name for name in ("ansi-dark", "textual-ansi", *NAMES) if _is_known(name))
    return wanted if wanted in NAMES else NIGHT.name


def _is_known(name: str) -> bool:
    return name in BUILTIN_THEMES or name in NAMES
