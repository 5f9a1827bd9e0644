"""Blades traced from pictures: how near, which edges, and what is refused."""

from __future__ import annotations

import json
import random
import struct
import subprocess
import sys
import tomllib
import zlib
from pathlib import Path

import pytest
from PIL import Image, ImageFilter

from tests.by_command import Commands
from tests.fin.plates import practice_plate
from tests.work.scans import (
    Scene,
    missed,
    random_blade,
    random_scene,
    render,
    smaller,
    traced_picture,
)
from workbench.cli import main
from workbench.errors import InputError
from workbench.fin.trace.traced import edge_choices
from workbench.places import shipped
from workbench.work.trace.look import PictureScale
from workbench.work.trace.scan import trace_picture

IN = 25.4
PLATE = practice_plate()


def test_a_scratch_across_a_straight_edge_does_not_part_it() -> None:
    """Each leaves a few points between short sides, a little off the line."""
    specks = [(60.0, 0.0), (60.3, 0.10), (60.6, 0.02), (100.0, 0.01), (100.4, -0.12), (100.7, 0.0)]
    rest = [(180.0, 0.0), (172.0, 30.0), (140.0, 66.0), (80.0, 84.0), (30.0, 70.0), (-6.0, 28.0)]
    likeliest = edge_choices([(0.0, 0.0), *specks, *rest])[0]
    assert likeliest.top == ((0.0, 0.0), (180.0, 0.0))
    bent = [(60.0, 0.0), (60.3, 0.30), (60.6, 0.0)]
    assert edge_choices([(0.0, 0.0), *bent, *rest])[0].top != ((0.0, 0.0), (180.0, 0.0))


@pytest.fixture(scope="module")
def scan(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The practice plate at half its size on a scanner's glass, some way round, at 300 dpi.

    Taken for one at 150 dpi it is the plate.
    """
    path = tmp_path_factory.mktemp("scan") / "plate.png"
    render(smaller(PLATE, 0.5), Scene(dpi=300, turn_deg=31.0, margin_in=0.1), 1).save(path)
    return path


@pytest.mark.parametrize("seed", [5, 14, 17])
def test_a_scan_at_300_dpi_is_traced_to_four_thousandths(seed: int, tmp_path: Path) -> None:
    """Any way round, either side up, noise, shadow, scratches, JPEG: edges told apart, too."""
    rng = random.Random(seed)
    blade, scene = smaller(random_blade(rng), 0.6), random_scene(rng, 300.0)
    path = tmp_path / "scan.png"
    render(blade, scene, seed).save(path)
    off = missed(blade, traced_picture(path, PictureScale("dpi", 300.0)))
    assert off.edges
    assert off.rms < 0.004
    assert off.centre < 0.001
    assert off.diameter < 0.002
    assert abs(off.scale) < 0.0005


def test_at_600_dpi_the_outline_lies_within_two_thousandths(tmp_path: Path) -> None:
    """A small blade, so that the picture is: its corner-to-curve shape is any blade's."""
    half = smaller(random_blade(random.Random(8)), 0.3)
    path = tmp_path / "scan.png"
    render(half, Scene(dpi=600, turn_deg=200.0, margin_in=0.1, noise=4.0), 3).save(path)
    traced = traced_picture(path, PictureScale("dpi", 600.0))
    off = missed(half, traced)
    assert off.edges
    assert off.rms < 0.002
    assert off.rms < 3.0 * traced.outline_u_mm / IN
    assert len(traced.outline_mm) < 80


def test_a_square_undoes_a_tilt_of_15_degrees(tmp_path: Path) -> None:
    scene = Scene(
        dpi=300, blur_px=0.8, noise=2.0, square_in=1.0, tilt_deg=15.0, tilt_to_deg=40.0,
        margin_in=0.1, shadow=0.2, distance_in=9.0,
    )  # fmt: skip
    path = tmp_path / "photo.png"
    half = smaller(PLATE, 0.5)
    render(half, scene, 2).save(path)
    off = missed(half, traced_picture(path, PictureScale("square", 1.0 * IN)))
    assert off.edges
    assert off.rms < 0.006


def test_a_blade_on_a_square_sheet_is_traced_by_the_sheets_corners(tmp_path: Path) -> None:
    """A light sheet of 4.5 in on a dark bench: the blade is what the sheet does not show."""
    half = smaller(PLATE, 0.5)
    picture = render(half, Scene(dpi=200, margin_in=0.1, noise=0.0), 1)
    sheet = Image.new("L", (900, 900), 225)
    sheet.paste(picture, (50, 200))
    bench = Image.new("L", (1100, 1100), 40)
    bench.paste(sheet, (100, 100))
    bench.save(tmp_path / "sheet.png")
    off = missed(half, traced_picture(tmp_path / "sheet.png", PictureScale("square", 4.5 * IN)))
    assert off.edges
    assert off.rms < 0.006


def test_what_it_prints_is_an_orders_blade(scan: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The table goes into a work order as it is; the turns are those of the true blade."""
    assert main(["trace", str(scan), "--across", "7.3", "--name", ""]) == 0
    table = tomllib.loads(capsys.readouterr().out)
    assert main(["trace", str(scan), "--across", "7.3", "--json"]) == 0
    out, err = capsys.readouterr()
    assert "outline known to" in err
    as_json = json.loads(out)
    assert as_json["unit"] == table["unit"] == "in"
    assert as_json["blade"] == table["blade"]
    assert max(u for u, _ in table["blade"]["outline"]) == pytest.approx(7.3, abs=0.002)
    order_file = shipped("fixtures") / "orders" / "practice-plate.toml"
    order = tomllib.loads(order_file.read_text("utf-8"))
    true = _turns(order, scan.parent, capsys)
    order["blade"] = table["blade"]
    order["blade"]["holes"][0]["name"] = "2"
    # This order's jaws touch beside a corner, where 0.005 in along the edge tells much.
    assert _turns(order, scan.parent, capsys) == pytest.approx(true, abs=0.1)


def _turns(
    order: dict[str, object], folder: Path, capsys: pytest.CaptureFixture[str]
) -> list[float]:
    path = folder / "order.json"
    path.write_text(json.dumps(order), "utf-8")
    assert main(["turns", str(path), "--json"]) == 0
    return [stud["turns_exact"] for stud in json.loads(capsys.readouterr().out)["studs"]]


def test_kept_by_name_and_traced_again_it_is_a_new_version(scan: Path, commands: Commands) -> None:
    trace = ("trace", str(scan), "--name", "Practice again")
    status, out, _ = commands.all_of(*trace, "--dpi", "150")
    assert (status, "# kept: blade Practice again\n" in out) == (0, True)
    status, out, _ = commands.all_of(*trace, "--across", "185.42 mm")
    assert (status, "Practice again, a new version" in out) == (0, True)
    assert sum("Practice again" in line for line in commands.run("parts")) == 1


def test_what_was_traced_says_how_when_and_by_whom(scan: Path, commands: Commands) -> None:
    from workbench.records.book import Book

    commands.all_of("trace", str(scan), "--name", "Alder 2", "--dpi", "150", who="MB")
    commands.all_of("trace", str(scan), "--name", "alder 2", "--across", "7.3", who="KV")
    with Book(commands._book) as book:
        (kept,) = [b for b in book.blades() if b.name == "Alder 2"]
        first, again = book.blade_versions(kept.id)
        methods = book.methods_of(kept.id)
    assert (first.who, first.part.traced) == ("MB", "scan at 150 dpi")
    assert (again.who, again.part.traced) == ("KV", "picture, 7.3 in across")
    assert again.at > first.at
    assert again.reason == "traced again: picture, 7.3 in across"
    assert kept.outline_u_mm > 0.0
    assert len(methods) == 4


# -- what is refused -------------------------------------------------------------------------------


AT_150 = PictureScale("dpi", 150.0)


def _refusal(path: Path, scale: PictureScale | None = AT_150) -> str:
    with pytest.raises(InputError) as why:
        trace_picture(path, scale)
    return str(why.value)


def test_no_scale_is_told_with_what_the_file_says(scan: Path, tmp_path: Path) -> None:
    picture = tmp_path / "stated.png"
    with Image.open(scan) as image:
        image.save(picture, dpi=(150, 150))
    said = _refusal(picture, None)
    assert "--dpi N, --across LENGTH or --square LENGTH" in said
    assert "the file itself says 150 dpi" in said


def test_no_blade_two_blades_and_one_cut_off_are_told(scan: Path, tmp_path: Path) -> None:
    path = tmp_path / "x.png"
    Image.effect_noise((900, 700), 6.0).save(path)
    assert "no blade" in _refusal(path)
    half = smaller(PLATE, 0.5)
    render(half, Scene(dpi=150, margin_in=0.1), 1, second=half).save(path)
    assert "two blades" in _refusal(path)
    with Image.open(scan) as image:
        image.crop((0, 0, image.width // 2, image.height)).save(path)
    assert "cut off" in _refusal(path)


def test_out_of_focus_and_too_coarse_are_told(scan: Path, tmp_path: Path) -> None:
    path = tmp_path / "x.png"
    with Image.open(scan) as image:
        image.filter(ImageFilter.GaussianBlur(5.0)).save(path)
        assert "out of focus" in _refusal(path)
        image.reduce(2).save(path)
    assert "finer picture" in _refusal(path, PictureScale("dpi", 75.0))


def test_something_that_is_no_blade_is_told(tmp_path: Path) -> None:
    from PIL import ImageDraw

    image = Image.new("L", (600, 600), 230)
    ImageDraw.Draw(image).ellipse((150, 150, 450, 450), fill=40)
    image.save(tmp_path / "disc.png")
    assert "two long straight sides" in _refusal(tmp_path / "disc.png")


def _png_of(width: int, height: int) -> bytes:
    """A PNG that says it is so large, its data a few bytes."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return (
            struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        )

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    rows = zlib.compress(bytes(1 << 20), 9)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", rows) + chunk(b"IEND", b"")


def test_huge_broken_and_foreign_pictures_are_refused(scan: Path, tmp_path: Path) -> None:
    path = tmp_path / "x.png"
    path.write_bytes(_png_of(20_000, 10_000))
    assert "at most 50 million pixels" in _refusal(path)
    path.write_bytes(_png_of(60_000, 60_000))
    assert "at most 50 million pixels" in _refusal(path)
    path.write_bytes(scan.read_bytes()[: scan.stat().st_size // 2])
    assert "whole" in _refusal(path)
    for data in (b"", b"GIF89a" + bytes(200), b"\xff\xd8\xff" + bytes(500), b"II*\0" + bytes(300)):
        path.write_bytes(data)
        assert "PNG, JPEG or TIFF" in _refusal(path)
    assert "No such file" in _refusal(tmp_path / "none.png")


def _python(code: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=False
    )


def test_a_picture_of_200_megapixels_takes_little_time_and_memory(tmp_path: Path) -> None:
    """In a process of its own: exit 2, under 500 MB at its peak, nothing printed."""
    path = tmp_path / "x.png"
    path.write_bytes(_png_of(20_000, 10_000))
    code = (
        "from pathlib import Path; from workbench.cli import main; "
        f"status = main(['trace', {str(path)!r}, '--dpi', '600']); "
        "told = Path('/proc/self/status'); "  # not getrusage: it counts what was there before exec
        "text = told.read_text() if told.exists() else 'VmHWM: 0'; "
        "print(status, int(text.partition('VmHWM:')[2].split()[0]) // 1024)"
    )
    done = _python(code)
    status, peak_mb = map(int, done.stdout.split())
    assert status == 2
    assert peak_mb < 500
    assert done.stderr.count("\n") == 1


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--dpi", "many"), "dots per inch"),
        (("--dpi", "nan"), "dots per inch"),
        (("--dpi", "-600"), "dots per inch"),
        (("--across", "0"), "--across"),
        (("--across", "7.3 furlongs"), "--across"),
        (("--dpi", "150", "--across", "7.3"), "one of --dpi, --across and --square"),
        (("--square", "2"), "no square"),
    ],
)
def test_options_are_refused_by_name(
    scan: Path, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], said: str
) -> None:
    assert main(["trace", str(scan), *words]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    assert said in err


def test_the_image_libraries_are_loaded_by_a_picture_alone() -> None:
    code = (
        "import sys; from workbench.cli import main; "
        "main(['trace', 'no-such.csv']); main(['turns', 'no-such.toml']); "
        "print([m for m in ('PIL', 'skimage', 'svgelements', 'ezdxf') if m in sys.modules])"
    )
    done = _python(code)
    assert done.stdout.strip() == "[]"


def test_the_readmes_own_scan_is_traced(capsys: pytest.CaptureFixture[str]) -> None:
    """The picture that travels with the program, in README's words: an invented blade, seed 21."""
    path = shipped("fixtures") / "scans" / "alder-300dpi.png"
    assert path.stat().st_size < 400_000
    assert main(["trace", str(path), "--dpi", "300", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)["blade"]
    true = random_blade(random.Random(21))
    assert max(u for u, _ in found["outline"]) == pytest.approx(true.length_mm / IN, abs=0.003)
    assert len(found["holes"]) == len(true.holes)
    assert found["name"] == "alder-300dpi"
