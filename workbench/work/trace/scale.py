"""What is said about a file that is traced: its scale, unit and edges, as typed and understood."""

from __future__ import annotations

from typing import Literal

from workbench.errors import InputError
from workbench.fin.parts.blade import LARGEST_MM, SMALLEST_MM
from workbench.frozen import dataclass
from workbench.measure.lengths import parse_length
from workbench.measure.units import Unit
from workbench.work.text.fields import Field

DPI = (75.0, 4800.0)

ASKED = (
    Field("file", "File", "PNG, JPEG, TIFF, SVG, DXF or CSV", "FILE"),
    Field("dpi", "Dpi", "a picture's scale: dots per inch of a flatbed scan", "N", ""),
    Field(
        "across", "Across", "a picture's scale: the blade's length along its top edge, by caliper",
        "LENGTH", "",
    ),
    Field(
        "square", "Square", "a picture's scale: side of a square in view, which undoes a tilt",
        "LENGTH", "",
    ),
    Field("unit", "Unit", "in or mm, of bare numbers", "UNIT", "the bench's, or the drawing's own"),
    Field("name", "Blade", "its name; one that is there: a new version", "NAME", "the file's"),
)  # fmt: skip
"""What is asked about a file that is traced."""


@dataclass(frozen=True, slots=True)
class PictureScale:
    """What gives a picture its scale: dots per inch, or the length (mm) of the blade along its top
    edge, or of a square's side in view."""

    by: Literal["dpi", "across", "square"]
    value: float

    def __post_init__(self) -> None:
        if self.by == "dpi":
            if not DPI[0] <= self.value <= DPI[1]:
                accepted = f"dots per inch of the scan, {DPI[0]:g} to {DPI[1]:g}"
                raise InputError("--dpi", f"{self.value:g}", accepted)
        elif not SMALLEST_MM <= self.value <= LARGEST_MM:
            accepted = f"a length of {SMALLEST_MM:g} to {LARGEST_MM:g} mm"
            raise InputError(f"--{self.by}", f"{self.value:g} mm", accepted)


@dataclass(frozen=True, slots=True)
class Ask:
    """What is said about a file beside its path, as typed: one scale of a picture, the unit of bare
    lengths (None: inch, or a drawing's own), and which sides are top and back edge: ``edges`` is
    the number of the choice (blank: the likeliest), ``other_end`` the other end of its top edge."""

    dpi: str = ""
    across: str = ""
    square: str = ""
    unit: Unit | None = None
    edges: str = ""
    other_end: bool = False

    @property
    def scales(self) -> list[str]:
        """The scales that are given, as options."""
        every = (("--dpi", self.dpi), ("--across", self.across), ("--square", self.square))
        return [key for key, text in every if text]

    def scale(self) -> tuple[PictureScale | None, str]:
        """Return the scale as understood, None where there is none, and how it is told.

        Raises:
            InputError: two of them, or what is no number or length.
        """
        given = self.scales
        if len(given) > 1:
            raise InputError(" ".join(given), "together", "one of --dpi, --across and --square")
        unit = self.unit or "in"
        if self.dpi:
            try:
                dpi = float(self.dpi)
            except ValueError:
                accepted = "a number of dots per inch, such as 600"
                raise InputError("--dpi", self.dpi, accepted) from None
            return PictureScale("dpi", dpi), f"scan at {dpi:g} dpi"
        if self.across:
            mm = parse_length(self.across, unit, "--across").mm
            return PictureScale("across", mm), f"picture, {_told(self.across, unit)} across"
        if self.square:
            mm = parse_length(self.square, unit, "--square").mm
            told = f"photo beside a square of {_told(self.square, unit)}"
            return PictureScale("square", mm), told
        return None, ""


def _told(text: str, unit: Unit) -> str:
    """Return a length as typed, with its unit."""
    return f"{text} {unit}" if text.strip()[-1:].isdigit() else text
