"""Thread designations against the published tables; hostile text gives a lead or a clear error."""

from __future__ import annotations

import math

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from workbench.errors import InputError
from workbench.fin.studs import ISO_COARSE_MM, UNIFIED_TPI, lead_of_thread, lead_of_tpi

# ISO 261 / ISO 724 coarse series (iso-coarse-threads): pitch, d2, d3, D1 in mm.
COARSE = {
    "M1.6": (0.35, 1.373, 1.171, 1.221),
    "M2": (0.4, 1.740, 1.509, 1.567),
    "M2.5": (0.45, 2.208, 1.948, 2.013),
    "M3": (0.5, 2.675, 2.387, 2.459),
    "M3.5": (0.6, 3.110, 2.764, 2.850),
    "M4": (0.7, 3.545, 3.141, 3.242),
    "M5": (0.8, 4.480, 4.019, 4.134),
    "M6": (1.0, 5.350, 4.773, 4.917),
    "M8": (1.25, 7.188, 6.466, 6.647),
    "M10": (1.5, 9.026, 8.160, 8.376),
    "M12": (1.75, 10.863, 9.853, 10.106),
    "M14": (2.0, 12.701, 11.546, 11.835),
    "M16": (2.0, 14.701, 13.546, 13.835),
}
# ISO 724 fine pitches (iso-fine-threads).
FINE = {
    "M8x1": (1.0, 7.35, 6.773, 6.917),
    "M8x0.75": (0.75, 7.513, 7.08, 7.188),
    "M10x1.25": (1.25, 9.188, 8.466, 8.647),
    "M10x1": (1.0, 9.35, 8.773, 8.917),
    "M12x1.5": (1.5, 11.026, 10.16, 10.376),
    "M12x1.25": (1.25, 11.188, 10.466, 10.647),
}
# ASME B1.1 UNC and UNF series (unc-unf-tpi).
UNIFIED = [
    "#0-80", "#1-64", "#1-72", "#2-56", "#2-64", "#3-48", "#3-56", "#4-40",
    "#4-48", "#5-40", "#5-44", "#6-32", "#6-40", "#8-32", "#8-36", "#10-24",
    "#10-32", "#12-24", "#12-28", "1/4-20", "1/4-28", "5/16-18", "5/16-24", "3/8-16",
    "3/8-24", "7/16-14", "7/16-20", "1/2-13", "1/2-20",
]  # fmt: skip
PRINTED_MM = {
    "1/4-20": 1.27, "#10-32": 0.79375, "#4-40": 0.635, "#0-80": 0.3175, "3/8-16": 1.5875,
}  # fmt: skip


@pytest.mark.parametrize(("name", "figures"), [*COARSE.items(), *FINE.items()])
def test_metric_pitch_gives_the_published_diameters(
    name: str, figures: tuple[float, float, float, float]
) -> None:
    """ISO 68-1: H = sqrt(3)/2 P, d2 = d - 3/4 H, d3 = d - 17/12 H, D1 = d - 5/4 H.

    With the pitch that the designation gives, the printed diameters of ISO 724 follow to half of
    their last digit (0.00051, as the tables are rounded).
    """
    pitch, d2, d3, minor = figures
    lead = lead_of_thread(name)
    assert lead == pitch
    size = float(name[1:].split("x")[0])
    h = math.sqrt(3.0) / 2.0 * lead
    assert size - 0.75 * h == pytest.approx(d2, abs=0.00051)
    assert size - 17.0 / 12.0 * h == pytest.approx(d3, abs=0.00051)
    assert size - 1.25 * h == pytest.approx(minor, abs=0.00051)


def test_the_coarse_table_is_the_published_one() -> None:
    assert {f"M{size}": pitch for size, pitch in ISO_COARSE_MM.items()} == {
        name: figures[0] for name, figures in COARSE.items()
    }


@pytest.mark.parametrize("name", UNIFIED)
def test_unified_lead_is_an_inch_over_the_threads(name: str) -> None:
    """ASME B1.1: one turn moves 1/tpi inch, with or without the number sign and the series."""
    size, tpi = name.split("-")
    lead = 25.4 / int(tpi)
    assert lead_of_thread(name) == lead
    assert lead_of_thread(name.lstrip("#")) == lead
    assert lead_of_tpi(int(tpi)) == lead
    series = {v: k for k, v in UNIFIED_TPI[size.lstrip("#")].items()}[int(tpi)]
    assert lead_of_thread(f"{name} {series}") == lead
    assert lead_of_thread(f"{name}{series}-2A") == lead
    assert lead_of_thread(f"{size} {series}") == lead


def test_the_unified_table_is_the_published_one() -> None:
    listed = {f"{size}-{tpi}" for size, table in UNIFIED_TPI.items() for tpi in table.values()}
    assert listed == {name.lstrip("#") for name in UNIFIED}


@pytest.mark.parametrize(("name", "pitch"), PRINTED_MM.items())
def test_unified_pitches_as_printed(name: str, pitch: float) -> None:
    assert lead_of_thread(name) == pytest.approx(pitch, abs=1e-15)


@pytest.mark.parametrize(
    ("text", "lead"),
    [
        ("M5x0.8", 0.8), ("m5X0.8", 0.8), (" M5 × 0,8 ", 0.8), ("M 5", 0.8), ("M5*0.5", 0.5),
        ("M5x.5", 0.5), ("M5x0.8-6g", 0.8), ("M6-6H", 1.0), ("M10x1.25-5g6g", 1.25),
        ("M6.0", 1.0), ("10-32 UNF", 0.79375), ("No. 10-32", 0.79375), ("10-32unf", 0.79375),
        ("1/4-28", 25.4 / 28), ("1/4-27 UN", 25.4 / 27),
    ],
)  # fmt: skip
def test_ways_of_writing_a_thread(text: str, lead: float) -> None:
    assert lead_of_thread(text) == lead


@pytest.mark.parametrize(
    "text",
    [
        "", "M", "M5x", "M5x0", "M5x2", "M7", "M5x-0.8", "10-33", "10-32 UNC", "10-32 UNEF",
        "0 UNC", "11-32", "1/3-20", "1/4-28 UNC", "1/0-20", "5x0.8", "M5x0.8x2", "M5x1e-3",
        "M5\x00", "1/4-" + "9" * 5000, "M" + "9" * 5000, "M5x" + "0" * 5000 + "1", "M５x０.８",
        "10-3٢", "1/4-2 UN",
    ],
)  # fmt: skip
def test_what_is_no_thread_says_what_is(text: str) -> None:
    """The error names the field and the text, shortened to one line, and what would do."""
    with pytest.raises(InputError) as caught:
        lead_of_thread(text, "front stud thread")
    assert caught.value.field == "front stud thread"
    assert caught.value.accepted
    assert len(str(caught.value)) < 300
    assert "\n" not in str(caught.value)


DESIGNATION_LIKE = st.text(st.sampled_from("MmxX×*0123456789.,/-# UNCFEABGgh"), max_size=14)


@settings(max_examples=600)
@given(st.one_of(st.text(max_size=30), DESIGNATION_LIKE))
@example("M0x0.8")
@example("M16x2-6g")
def test_any_text_gives_a_sane_lead_or_an_input_error(text: str) -> None:
    try:
        lead = lead_of_thread(text)
    except InputError as caught:
        why = caught
    else:
        assert 0.1 <= lead <= 25.4 / 4
        return
    assert why.field == "thread"


@pytest.mark.parametrize("tpi", [0.0, -32.0, 3.9, 201.0, math.nan, math.inf])
def test_odd_threads_per_inch_are_refused(tpi: float) -> None:
    with pytest.raises(InputError, match="threads per inch"):
        lead_of_tpi(tpi)
