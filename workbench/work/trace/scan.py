"""A blade from a scan or a photo: the file read safely, its edges, its scale, and what is wrong.

PNG, JPEG and TIFF as grey levels, nothing huge, nothing broken.
"""

from __future__ import annotations

import math
import warnings
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image, UnidentifiedImageError

from workbench.errors import InputError
from workbench.fin.blade import perimeter
from workbench.fin.frame import Point
from workbench.fin.trace.contour import fit_outline
from workbench.fin.trace.traced import Unframed, unframed_of_contours
from workbench.frozen import dataclass
from workbench.measure.units import MM_PER_INCH
from workbench.work.trace import picture
from workbench.work.trace.look import Ground, PictureScale, Told, look_at_rings, nothing

if TYPE_CHECKING:
    from workbench.work.trace.picture import Grey, Seen

# -- the file --------------------------------------------------------------------------------------

MOST_PIXELS = 50_000_000
"""A sheet of letter or A4 size at 600 dpi has 35 million; more would not fit a small computer."""

SMALLER = (
    f"at most {MOST_PIXELS // 1_000_000} million pixels: scan the blade's part of the glass only, "
    "at 300 to 600 dpi"
)
LARGEST_BYTES = 150_000_000
LEAST_SIDE = 100
"""A picture with a side of fewer pixels shows no blade."""

MODES = ("1", "L", "LA", "P", "PA", "RGB", "RGBA", "CMYK", "YCbCr", "I;16", "I;16B", "I;16L")


def read_grey(path: str | Path) -> tuple[Grey, float | None]:
    """Return the grey levels of a picture and the resolution that the file states, if any."""
    accepted = "a PNG, JPEG or TIFF picture"
    try:
        if Path(path).stat().st_size > LARGEST_BYTES:
            wanted = f"a picture file of at most {LARGEST_BYTES // 1_000_000} MB"
            raise InputError("file", str(path), wanted)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(path, formats=("PNG", "JPEG", "TIFF")) as image:
                width, height = image.size
                if width * height > MOST_PIXELS:
                    raise InputError("file", f"{width} x {height} pixels", SMALLER)
                if min(width, height) < LEAST_SIDE:
                    size = f"{width} x {height} pixels"
                    raise InputError("file", size, f"{LEAST_SIDE} pixels or more each way")
                if image.mode not in MODES:
                    raise InputError("file", f"mode {image.mode}", f"{accepted} in grey or colour")
                grey = _grey(image)
                stated = image.info.get("dpi")
    except InputError:
        raise
    except Image.DecompressionBombError:
        raise InputError("file", str(path), SMALLER) from None
    except UnidentifiedImageError:
        raise InputError("file", str(path), accepted) from None
    except OSError as why:
        reason = why.strerror or str(why) or type(why).__name__
        raise InputError("file", str(path), f"{accepted} that is whole ({reason})") from None
    except MemoryError:
        raise InputError("file", str(path), "a picture that fits into memory") from None
    except (
        ValueError,
        SyntaxError,
        ArithmeticError,
        LookupError,
        TypeError,
        AttributeError,
    ) as why:  # what broken files make the decoders raise
        raise InputError("file", str(path), f"{accepted} that is whole ({why})") from None
    return grey, _stated_dpi(stated)


def _grey(image: Image.Image) -> Grey:
    if image.mode.startswith("I;16"):
        levels = np.asarray(image)
        return (levels >> 8).astype(np.uint8)
    if image.mode in ("LA", "PA", "RGBA") or "transparency" in image.info:
        # What is transparent shows the white that it would be seen on. Put together in grey: four
        # channels of a large picture, and again over white, would not fit into 500 MB.
        whole = image if image.mode in ("LA", "RGBA") else image.convert("RGBA")
        alpha, grey = whole.getchannel("A"), whole.convert("L")
        return np.asarray(Image.composite(grey, Image.new("L", grey.size, 255), alpha))
    return np.asarray(image.convert("L"))


def _stated_dpi(value: object) -> float | None:
    try:
        dpi = float(value[0])  # type: ignore[index]
    except (TypeError, ValueError, LookupError, ZeroDivisionError):
        return None
    return dpi if math.isfinite(dpi) and dpi > 0.0 else None


# -- the blade in it -------------------------------------------------------------------------------

COARSEST_MM = 0.26
"""A pixel may be at most so large: about 100 to the inch."""

SOFTEST_MM, SOFTEST_PX = 0.2, 1.5
"""An edge blurred by more (standard deviation), in mm and in pixels, is out of focus."""

UNMOVED = (1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0)


@dataclass(frozen=True, slots=True)
class InPicture:
    """A blade as it lies in a picture."""

    unframed: Unframed
    ground: Ground


def trace_picture(path: str | Path, scale: PictureScale | None, told: Told = nothing) -> InPicture:
    """Return the blade that a picture shows; ``told`` of each step.

    Raises:
        InputError: what is wrong with the picture, or no scale given.
    """
    grey, own_dpi = read_grey(path)
    if scale is None:
        hint = f" (the file itself says {own_dpi:.4g} dpi)" if own_dpi else ""
        accepted = "one of --dpi N, --across LENGTH or --square LENGTH" + hint
        raise InputError("scale", "none", accepted)
    # Loading it takes a second: not for a file that is refused.
    high, wide = grey.shape
    ground = Ground(wide, high, UNMOVED, picture.thumb_of(grey))
    looking = look_at_rings("looking for the blade", ground, ())
    told(looking)
    shapes = picture.shapes_in(
        grey, with_square=scale.by == "square", at_step=lambda: told(looking)
    )
    del grey
    openings = [seen.points for seen in shapes.openings]
    fitting = look_at_rings("fitting the outline", ground, [shapes.blade.points, *openings])
    told(fitting)
    if scale.by == "square":
        assert shapes.square is not None
        h = picture.homography(_corners(shapes.square), scale.value)
        contour = picture.moved(h, shapes.blade.points)
        openings = [picture.moved(h, opening) for opening in openings]
        pixel_mm = perimeter(contour) / perimeter(shapes.blade.points)
        to_picture = picture.back(h)
    else:
        pixel_mm = MM_PER_INCH / scale.value
        if scale.by == "across":
            xs, ys = zip(*shapes.blade.points, strict=True)
            pixel_mm = scale.value / max(max(xs) - min(xs), max(ys) - min(ys))
        contour = [(x * pixel_mm, y * pixel_mm) for x, y in shapes.blade.points]
        openings = [[(x * pixel_mm, y * pixel_mm) for x, y in ring] for ring in openings]
        to_picture = (1.0 / pixel_mm, 0.0, 0.0, 0.0, 1.0 / pixel_mm, 0.0, 0.0, 0.0, 1.0)
    blur_mm = shapes.blade.blur_px * pixel_mm
    _check_sharp(pixel_mm, blur_mm)
    unframed = unframed_of_contours(
        contour, openings, pixel_mm=pixel_mm, blur_mm=blur_mm,
        length_mm=scale.value if scale.by == "across" else None, at_step=lambda: told(fitting),
    )  # fmt: skip
    return InPicture(unframed, replace(ground, to_picture=to_picture))


def _check_sharp(pixel_mm: float, blur_mm: float) -> None:
    if pixel_mm > COARSEST_MM:
        found = f"pixels of {pixel_mm:.2f} mm"
        accepted = (
            f"a finer picture: pixels of at most {COARSEST_MM:g} mm; a scan at 300 or 600 dpi"
        )
        raise InputError("picture", found, accepted)
    if blur_mm > max(SOFTEST_MM, SOFTEST_PX * pixel_mm):
        found = f"out of focus: edges {2.5 * blur_mm:.2f} mm wide"
        accepted = f"a sharp picture: edges at most {2.5 * SOFTEST_MM:g} mm wide"
        raise InputError("picture", found, accepted)


def _corners(square: Seen) -> list[Point]:
    """Return the four corners of a square's edge, where its sides' lines cross."""
    around = perimeter(square.points)
    for part in (0.004, 0.008, 0.016):
        fitted = fit_outline(square.points, part * around, 4.0 + 3.0 * square.blur_px)
        if len(fitted.outline_mm) == 4:
            return list(fitted.outline_mm)
    raise InputError("--square", "no four straight sides", "a square of that side, seen whole")
