"""Picture files read safely: PNG, JPEG and TIFF as grey levels, nothing huge, nothing broken."""

from __future__ import annotations

import math
import warnings
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image, UnidentifiedImageError

from workbench.errors import InputError

MOST_PIXELS = 50_000_000
"""A sheet of letter or A4 size at 600 dpi has 35 million; more would not fit a small computer."""

SMALLER = (
    f"at most {MOST_PIXELS // 1_000_000} million pixels: scan the blade's part of the glass only, "
    "at 300 to 600 dpi"
)
LARGEST_BYTES = 150_000_000
LEAST_SIDE = 100
"""A picture with a side of fewer pixels shows no blade."""

Grey = Any
"""An array of grey levels (rows x columns)."""

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
