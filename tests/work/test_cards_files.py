"""Cards as files: whole or not at all, in their folder, nothing overwritten; and the commands."""

from __future__ import annotations

import os
import stat
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.shop import DAY, demo_file, open_shop, ski
from workbench.cli import main
from workbench.errors import InputError
from workbench.records.store import rows
from workbench.work.files import safe_write
from workbench.work.files.safe_write import slug, write_set
from workbench.work.job.shop import Shop
from workbench.work.paper.pdf_page import has_pdf
from workbench.work.paper.printing import card_document, find_view, sheet_document

as_root = hasattr(os, "geteuid") and os.geteuid() == 0
WANTED = ["html", "pdf", "svg", "txt"] if has_pdf() else ["html", "svg", "txt"]


@pytest.fixture
def book(tmp_path: Path) -> Path:
    return demo_file(tmp_path)


@pytest.fixture
def shop(book: Path) -> Iterator[Shop]:
    with open_shop(book) as opened:
        yield opened


def hide_reportlab(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in [n for n in sys.modules if n.split(".")[0] == "reportlab"]:
        monkeypatch.setitem(sys.modules, name, None)
    monkeypatch.setitem(sys.modules, "reportlab", None)


class TestSlug:
    @pytest.mark.parametrize(
        ("text", "part"),
        [
            ("Heron 66 [spare]", "heron-66-spare"),
            ("../../etc/passwd", "etc-passwd"),
            ("Žižka Ærø", "zizka-r"),
            ("漢字", "ski"),
            ("", "ski"),
            ("CON", "con"),
            (".hidden", "hidden"),
            ("a" * 1_000_000, "a" * 40),
            ("x\x00y\ud800z", "x-y-z"),
        ],
    )
    def test_names_become_plain_parts(self, text: str, part: str) -> None:
        assert slug(text) == part

    @given(st.text(max_size=200))
    def test_nothing_but_letters_digits_and_hyphens_is_left(self, text: str) -> None:
        made = slug(text)
        assert 1 <= len(made) <= 40
        assert all(c in "abcdefghijklmnopqrstuvwxyz0123456789-" for c in made)
        assert made.strip("-") == made


class TestWriting:
    @given(st.text(max_size=60))
    def test_a_file_stays_in_its_folder_whatever_it_is_called(self, name: str) -> None:
        """The folder has the files and nothing else changed around it."""
        import tempfile

        with tempfile.TemporaryDirectory() as top:
            folder = Path(top) / "inner"
            (path,) = write_set(folder, name, {"txt": b"x"})
            assert path.parent == folder
            assert os.listdir(top) == ["inner"]
            assert os.listdir(folder) == [path.name]

    def test_a_taken_name_gets_a_number_for_all_of_the_set(self, tmp_path: Path) -> None:
        """Also where only one of the set is there, and what is there stays as it is."""
        (tmp_path / "a.txt").write_text("mine")
        first = write_set(tmp_path, "a", {"html": b"1", "txt": b"1"})
        second = write_set(tmp_path, "a", {"html": b"2", "txt": b"2"})
        assert [p.name for p in first] == ["a-2.html", "a-2.txt"]
        assert [p.name for p in second] == ["a-3.html", "a-3.txt"]
        assert (tmp_path / "a.txt").read_text() == "mine"
        assert not (tmp_path / "a.html").exists()

    def test_a_link_that_leads_elsewhere_is_a_taken_name(self, tmp_path: Path) -> None:
        outside = tmp_path / "outside"
        folder = tmp_path / "cards"
        folder.mkdir()
        (folder / "a.txt").symlink_to(outside)
        (path,) = write_set(folder, "a", {"txt": b"x"})
        assert path.name == "a-2.txt"
        assert not outside.exists()

    def test_folder_and_files_are_for_their_owner_alone(self, tmp_path: Path) -> None:
        (path,) = write_set(tmp_path / "new" / "cards", "a", {"txt": b"x"})
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
        assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700
        assert stat.S_IMODE(path.parent.parent.stat().st_mode) == 0o700

    def test_a_full_disk_leaves_nothing(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """The second file cannot be written: the first has no name yet, and no rest stays."""
        real, calls = os.fsync, []

        def fsync(handle: int) -> None:
            calls.append(handle)
            if len(calls) == 2:
                raise OSError(28, "No space left on device")
            real(handle)

        monkeypatch.setattr(safe_write.os, "fsync", fsync)
        with pytest.raises(InputError, match="No space left on device"):
            write_set(tmp_path, "a", {"txt": b"x", "html": b"y"})
        assert os.listdir(tmp_path) == []

    def test_naming_that_fails_half_way_is_undone(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        real, calls = os.link, []

        def link(source: Path, target: Path) -> None:
            calls.append(target)
            if len(calls) == 2:
                raise FileExistsError(17, "File exists")
            real(source, target)

        monkeypatch.setattr(safe_write.os, "link", link)
        made = write_set(tmp_path, "a", {"txt": b"x", "html": b"y"})
        assert sorted(os.listdir(tmp_path)) == sorted(p.name for p in made)
        assert [p.name for p in made] == ["a-2.txt", "a-2.html"]

    def test_a_disk_without_links_still_overwrites_nothing(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        def link(source: Path, target: Path) -> None:
            raise OSError(95, "Operation not supported")

        monkeypatch.setattr(safe_write.os, "link", link)
        write_set(tmp_path, "a", {"txt": b"1"})
        write_set(tmp_path, "a", {"txt": b"2"})
        assert (tmp_path / "a.txt").read_bytes() == b"1"
        assert (tmp_path / "a-2.txt").read_bytes() == b"2"
        assert len(os.listdir(tmp_path)) == 2

    def test_a_file_in_the_folders_place_is_refused(self, tmp_path: Path) -> None:
        (tmp_path / "cards").write_text("a file")
        with pytest.raises(InputError, match="a folder that can be written"):
            write_set(tmp_path / "cards", "a", {"txt": b"x"})
        assert (tmp_path / "cards").read_text() == "a file"

    @pytest.mark.skipif(as_root, reason="nothing is forbidden to root")
    def test_a_folder_that_may_not_be_written_is_refused(self, tmp_path: Path) -> None:
        folder = tmp_path / "cards"
        folder.mkdir(mode=0o500)
        with pytest.raises(InputError, match="Permission denied"):
            write_set(folder, "a", {"txt": b"x"})

    @pytest.mark.parametrize("name", ["a\0b", "~nobody-of-that-name/cards", "x" * 5000])
    def test_a_folder_that_is_no_path_is_refused(self, tmp_path: Path, name: str) -> None:
        folder = Path(name) if name.startswith("~") else tmp_path / name
        with pytest.raises(InputError, match="folder"):
            write_set(folder, "a", {"txt": b"x"})


class TestPrinting:
    def test_all_formats_that_can_be_go_beside_the_book(self, shop: Shop) -> None:
        written = card_document(shop, ski(shop, "Stilt 65")).write(shop)
        assert sorted(p.suffix[1:] for p in written.paths) == WANTED
        assert {p.parent for p in written.paths} == {shop.book.path.parent / "cards"}
        assert {p.stem.rsplit("-", 1)[0] for p in written.paths} == {f"stilt-65-{DAY}"}

    def test_every_format_of_a_job_not_signed_off_says_so(self, shop: Shop) -> None:
        written = card_document(shop, ski(shop, "Heron 67")).write(shop, ["text", "html", "svg"])
        for path in written.paths:
            assert "NOT RELEASED, do not ride" in path.read_text("utf-8")

    def test_the_second_card_of_a_job_is_numbered(self, shop: Shop) -> None:
        view = ski(shop, "Stilt 65")
        first, second = card_document(shop, view).write(shop), card_document(shop, view).write(shop)
        assert {p.stem for p in second.paths} == {f"{p.stem}-2" for p in first.paths}
        assert all(p.exists() for p in (*first.paths, *second.paths))

    def test_without_reportlab_the_rest_is_written_and_it_is_said(
        self, shop: Shop, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        hide_reportlab(monkeypatch)
        written = card_document(shop, ski(shop, "Stilt 65")).write(shop)
        assert sorted(p.suffix[1:] for p in written.paths) == ["html", "svg", "txt"]
        assert "pip install '.[pdf]'" in written.left_out
        assert "pip install" in written.words

    def test_pdf_asked_for_without_reportlab_is_refused_and_nothing_is_written(
        self, shop: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        hide_reportlab(monkeypatch)
        with pytest.raises(InputError, match="pip install"):
            card_document(shop, ski(shop, "Stilt 65")).write(
                shop, ["text", "pdf"], tmp_path / "out"
            )
        assert not (tmp_path / "out").exists()

    @pytest.mark.parametrize("name", ["../../up", "/etc/x", "a" * 100_000, "=1+1", "nul", "\u202e"])
    def test_a_skis_name_never_leads_out_of_the_folder(
        self, shop: Shop, tmp_path: Path, name: str
    ) -> None:
        old = ski(shop, "Heron 66").ski
        made = shop.book.add_ski(
            rows.Ski("", name, "", "s-1", "", "in", old.blade_id, old.block_id, None, None, False,
                     old.methods)
        )  # fmt: skip
        job = shop.book.add_job(made.id, DAY)
        before = set(tmp_path.iterdir())
        written = card_document(shop, shop.view(job.id)).write(shop, ["text"], tmp_path / "out")
        assert set(tmp_path.iterdir()) - before == {tmp_path / "out"}
        assert [p.parent for p in written.paths] == [tmp_path / "out"]

    def test_the_day_sheet_goes_there_too(self, shop: Shop) -> None:
        written = sheet_document(shop).write(shop)
        assert {p.stem for p in written.paths} == {f"day-{DAY}"}

    def test_a_setting_of_the_folder_that_cannot_be_written_is_an_error(self, shop: Shop) -> None:
        (shop.book.path.parent / "taken").write_text("x")
        shop.book.set_setting("card_folder", "taken")
        with pytest.raises(InputError, match="folder"):
            card_document(shop, ski(shop, "Stilt 65")).write(shop)


class TestCommands:
    def run(self, book: Path, *words: str) -> int:
        return main(["--book", str(book), *words])

    def test_card_prints_text(self, book: Path, capsys: pytest.CaptureFixture[str]) -> None:
        assert self.run(book, "card", "Stilt 65") == 0
        out, err = capsys.readouterr()
        assert "SETTING CARD" in out
        assert "2.4565 in = 62.40 mm" in out
        assert err == ""
        assert not (book.parent / "cards").exists()

    def test_card_to_a_folder_writes_all_and_says_which(
        self, book: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        assert self.run(book, "card", "s-65-101", "--to", str(tmp_path / "out")) == 0
        said = capsys.readouterr().out.splitlines()
        assert sorted(said) == sorted(str(p) for p in (tmp_path / "out").iterdir())
        assert sorted(Path(p).suffix[1:] for p in said) == WANTED

    @pytest.mark.parametrize(("form", "head"), [("html", "<!doctype html>"), ("svg", "<?xml")])
    def test_card_prints_other_formats(
        self, book: Path, capsys: pytest.CaptureFixture[str], form: str, head: str
    ) -> None:
        assert self.run(book, "card", "Stilt 65", "--format", form) == 0
        assert capsys.readouterr().out.startswith(head)

    @pytest.mark.skipif(not has_pdf(), reason="reportlab is not installed")
    def test_pdf_goes_to_the_shops_folder(
        self, book: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        assert self.run(book, "card", "Stilt 65", "--format", "pdf", "--paper", "a4") == 0
        path = Path(capsys.readouterr().out.strip())
        assert path.parent == book.parent / "cards"
        assert path.read_bytes().startswith(b"%PDF-")

    def test_pdf_without_reportlab_is_wrong_input_with_the_way_out(
        self, book: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        hide_reportlab(monkeypatch)
        assert self.run(book, "card", "Stilt 65", "--format", "pdf") == 2
        assert "pip install '.[pdf]'" in capsys.readouterr().err

    def test_an_unknown_ski_is_wrong_input_on_one_line(
        self, book: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        assert self.run(book, "card", "no such\x1b[31m") == 2
        err = capsys.readouterr().err
        assert err.count("\n") == 1
        assert "\x1b" not in err

    def test_a_folder_that_cannot_be_is_wrong_input(
        self, book: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        (tmp_path / "file").write_text("x")
        assert self.run(book, "card", "Stilt 65", "--to", str(tmp_path / "file")) == 2
        assert "folder" in capsys.readouterr().err

    def test_day_sheet_prints_the_day_asked_for(
        self, book: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        assert self.run(book, "day-sheet", "--day", DAY) == 0
        out = capsys.readouterr().out
        assert f"DAY SHEET {DAY}" in out
        assert "Gannet 68" in out

    def test_day_sheet_to_a_folder(
        self, book: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        folder = tmp_path / "out"
        code = self.run(book, "day-sheet", "--day", DAY, "--format", "html", "--to", str(folder))
        assert code == 0
        assert [p.name for p in folder.iterdir()] == [f"day-{DAY}.html"]

    @pytest.mark.parametrize("words", [("day-sheet",), ("card", "Stilt 65")])
    @pytest.mark.parametrize("day", ["yesterday", "20261125", "2026-W48-3", "2026-11-31", ""])
    def test_a_day_that_is_none_is_wrong_input(
        self, book: Path, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], day: str
    ) -> None:
        """As on every other command: written as the help says, or refused."""
        assert self.run(book, *words, "--day", day) == 2
        assert f"--day: '{day}' — a day as YYYY-MM-DD" in capsys.readouterr().err

    def test_a_past_day_has_its_own_card(
        self, book: Path, shop: Shop, capsys: pytest.CaptureFixture[str]
    ) -> None:
        """The card of a day is that of the job which was done on it."""
        past = min(h.job.day for h in shop.book.history_of_ski(ski(shop, "Stilt 65").ski.id))
        assert find_view(shop, "Stilt 65", past).job.day == past
        assert self.run(book, "card", "Stilt 65", "--day", past) == 0
        assert past in capsys.readouterr().out
