"""What a setting card and a day sheet say: both units, how it was measured, what is open."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
import segno
from hypothesis import assume, given
from hypothesis import strategies as st

from tests.shop import Fin, heron, read, ski, walk_to
from workbench.bench.bases.key_gate import may_be_serial
from workbench.errors import InputError
from workbench.measure.display import length_text
from workbench.records.store import rows
from workbench.records.store.rows import JobTerms
from workbench.work.drawing.layout import plain_picture
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.job.temperature import state_temperature
from workbench.work.job_text.setting_words import NOT_READ, code_text, serial_in
from workbench.work.job_text.typed_lines import job_meant
from workbench.work.paper.cards import CAUTIONS, card_of
from workbench.work.paper.day_sheet import UNREAD, day_sheet
from workbench.work.paper.html_pages import label_html
from workbench.work.paper.printing import card_folder, find_view, paper_of
from workbench.work.paper.text_pages import card_text
from workbench.work.roster.queue import by_serial
from workbench.work.text.words import CAUTION_EDGES


def winged(shop: Shop, stage: str) -> JobView:
    view = ski(shop, "Heron 67")
    return walk_to(shop, view, Fin(view, 0.690, -1.012, -0.10), stage, ("+.008", "+.012", ""))


class TestNumbers:
    def test_each_number_stands_in_inch_and_mm_as_the_bench_shows_it(self, shop: Shop) -> None:
        """Both units come from the reading in mm, not from one another."""
        view = ski(shop, "Stilt 65")
        card = card_of(shop, view)
        for number, line in zip(card.numbers, view.lines, strict=True):
            assert line.now_mm is not None
            assert number.inch == length_text(line.now_mm, "in")
            assert number.mm == length_text(line.now_mm, "mm")

    def test_the_uncertainty_is_the_expanded_one(self, shop: Shop) -> None:
        """± is twice the standard uncertainty (JCGM 100:2008, 6.2.1, k = 2), in both units."""
        view = ski(shop, "Stilt 65")
        line = view.lines[0]
        assert line.u_mm is not None
        good_to = card_of(shop, view).numbers[0].good_to
        assert good_to == (
            f"{length_text(2 * line.u_mm, 'in', '0.0001')} in = "
            f"{length_text(2 * line.u_mm, 'mm', '0.001')} mm"
        )

    def test_what_is_not_read_is_said_to_be_so(self, shop: Shop) -> None:
        card = card_of(shop, ski(shop, "Heron 66"))
        assert {n.inch for n in card.numbers} == {NOT_READ}
        assert all(n.good_to == "" and n.both == NOT_READ for n in card.numbers)

    def test_a_miss_is_said_with_its_side_and_size(self, shop: Shop) -> None:
        numbers = card_of(shop, ski(shop, "Heron 67")).numbers
        assert numbers[0].result == "OUTSIDE tolerance, under by 0.0080 in = 0.20 mm"
        assert numbers[2].result == "within tolerance"
        assert "kept as received" in numbers[2].target

    def test_the_method_stands_in_words_with_its_heights_in_both_units(self, shop: Shop) -> None:
        tail = card_of(shop, ski(shop, "Heron 67")).numbers[1]
        assert tail.quantity == "tail distance"
        assert "from 0.0000 in = 0.00 mm to 0.3000 in = 7.62 mm over the base" in tail.where
        assert any("tail end" in sentence for sentence in tail.how)

    def test_each_drawing_spans_what_was_read(self, shop: Shop) -> None:
        """The two ends drawn lie as far apart as the number says."""
        view = ski(shop, "Stilt 65")
        for number, line in zip(card_of(shop, view).numbers, view.lines, strict=True):
            assert number.scene.span is not None
            (ax, ay), (bx, by) = number.scene.span
            drawn = by - ay if line.method.quantity == "depth" else bx - ax
            assert drawn == pytest.approx(line.now_mm, abs=0.1)


class TestRelease:
    @pytest.mark.parametrize("stage", ["turning", "wing", "final check", "sign-off"])
    def test_before_sign_off_the_card_says_not_released(self, shop: Shop, stage: str) -> None:
        card = card_of(shop, winged(shop, stage))
        assert not card.released
        assert card.status.startswith("NOT RELEASED, do not ride")
        assert "NOT RELEASED" in card_text(card)

    def test_after_sign_off_it_says_by_whom(self, shop: Shop) -> None:
        card = card_of(shop, winged(shop, "signed off"))
        assert card.released
        assert card.status.startswith("Released by KV on ")
        assert card.initials == "KV"

    def test_a_second_pair_of_eyes_is_named(self, shop: Shop) -> None:
        view = winged(shop, "sign-off")
        view = shop.sign_off(shop.second_eyes(view, "ZZ"), "KV")
        assert card_of(shop, view).status.startswith("Released by KV, looked over by ZZ on ")

    def test_taking_the_sign_off_back_takes_the_release_back(self, shop: Shop) -> None:
        view = winged(shop, "signed off")
        view, _ = shop.take_back(view)
        assert not card_of(shop, view).released

    def test_a_ski_set_aside_has_its_reason(self, shop: Shop) -> None:
        card = card_of(shop, ski(shop, "Otter 66"))
        assert "set aside: a clamp bolt is stripped" in card.status


class TestTheRest:
    def test_the_wing_is_left_out_said_unset_or_given(self, shop: Shop) -> None:
        assert card_of(shop, ski(shop, "Heron 66")).wing == "no wing"
        assert card_of(shop, ski(shop, "Heron 67")).wing == "not set"
        view = winged(shop, "wing")
        shop.book.add_fact(
            view.job.id,
            "KV",
            rows.WingSetting(text="7.5", angle_deg=7.5, hold="front", gauge="bubble 2"),
        )
        wing = card_of(shop, shop.view(view.job.id)).wing
        assert wing == "7.5° to the base, straightedge at the front, gauge bubble 2"

    def test_an_angle_struck_out_is_not_on_the_card(self, shop: Shop) -> None:
        view = winged(shop, "wing")
        kept = shop.book.add_fact(view.job.id, "KV", rows.WingSetting(text="9", angle_deg=9.0))
        shop.book.strike(kept.id, "read wrong", "KV")
        assert card_of(shop, shop.view(view.job.id)).wing == "not set"

    def test_cautions_and_boxes_stand_on_every_card(self, shop: Shop) -> None:
        card = card_of(shop, ski(shop, "Heron 66"))
        assert card.cautions == CAUTIONS
        assert CAUTION_EDGES in card.cautions
        text = card_text(card)
        for words in ("clamp bolt", "maker", "event's rules", "qualified technician"):
            assert words in text
        assert text.count("[ ]") == 2
        assert "wing screws" not in text
        assert "wing screws" in card_text(card_of(shop, ski(shop, "Heron 67")))

    def test_notes_are_there_and_the_rest_is_counted(self, shop: Shop) -> None:
        view = ski(shop, "Stilt 65")
        for i in range(5):
            view = shop.note(view, "note", f"note {i}")
        shop.note(view, "held", "2.4500")
        notes = card_of(shop, shop.view(view.job.id)).notes
        assert notes == ("note 0", "note 1", "note 2", "and 2 more in the shop's book")

    def test_base_is_flat_or_has_its_radius_in_both_units(self, shop: Shop) -> None:
        flat = dict(card_of(shop, ski(shop, "Stilt 65")).facts)["Base"]
        bent = dict(card_of(shop, ski(shop, "Heron 67")).facts)["Base"]
        assert flat == "flat"
        assert "radius 160.00 in = 4064.0 mm" in bent

    def test_readings_at_a_stated_temperature_are_said_to_be_as_at_20_degrees(
        self, shop: Shop
    ) -> None:
        view = ski(shop, "Heron 66")
        assert "Lengths" not in dict(card_of(shop, view).facts)
        view = walk_to(shop, view, heron(view), "as received")
        fields = {
            "blade": "30", "caliper": "30", "scale": "C", "blade_material": "",
            "caliper_material": "",
        }  # fmt: skip
        view = state_temperature(shop, view, fields)
        view = read(shop, view, view.lines[0], "2.4500")
        said = dict(card_of(shop, view).facts)["Lengths"]
        assert said.startswith("as at 20 °C; read with blade 30 °C")

    def test_a_recheck_shows_the_setting_that_was_checked(self, shop: Shop) -> None:
        """Its card has the numbers of the job before, and says that the check is open."""
        done = winged(shop, "signed off")
        job = shop.book.add_job(done.ski.id, "2026-11-26", how=JobTerms("recheck"))
        card = card_of(shop, shop.view(job.id))
        assert [n.inch for n in card.numbers] == [n.inch for n in card_of(shop, done).numbers]
        assert card.released
        assert card.notes[0].startswith("The check after the ride is not done")

    def test_every_line_of_the_text_fits_its_width(self, shop: Shop) -> None:
        for line in shop.roster():
            for width in (60, 80):
                text = card_text(card_of(shop, shop.view(line.job_id)), width)
                assert max(map(len, text.splitlines())) <= width


class TestFinding:
    def test_by_serial_or_name_whatever_the_case(self, shop: Shop) -> None:
        assert find_view(shop, "h67-003").ski.name == "Heron 67"
        assert find_view(shop, " heron 67 ").ski.serial == "H67-003"

    def test_the_latest_job_by_today_is_meant(self, shop: Shop) -> None:
        """What is queued for tomorrow is not yet a setting."""
        view = find_view(shop, "Heron 67")
        assert view.job.day == shop.day
        shop.book.add_job(view.ski.id, "2026-11-26")
        assert find_view(shop, "Heron 67").job.id == view.job.id
        assert find_view(shop, "Heron 67", "2026-11-26").job.day == "2026-11-26"

    def test_a_day_it_was_not_here_is_refused(self, shop: Shop) -> None:
        with pytest.raises(InputError, match="on the bench on 2020-01-01"):
            find_view(shop, "Heron 67", "2020-01-01")

    def test_an_unknown_ski_is_refused(self, shop: Shop) -> None:
        with pytest.raises(InputError, match="no such"):
            find_view(shop, "no such")


class TestSettings:
    def test_cards_go_beside_the_book_unless_the_shop_says_where(self, shop: Shop) -> None:
        assert card_folder(shop) == shop.book.path.parent / "cards"
        shop.book.set_setting("card_folder", "for owners")
        assert card_folder(shop) == shop.book.path.parent / "for owners"
        shop.book.set_setting("card_folder", "~/cards")
        assert card_folder(shop) == Path.home() / "cards"

    def test_the_paper_follows_the_unit_unless_it_is_set(self, shop: Shop) -> None:
        assert paper_of(shop) == "letter"
        shop.book.set_setting("unit", "mm")
        assert paper_of(shop) == "a4"
        shop.book.set_setting("paper", "Letter")
        assert paper_of(shop) == "letter"


class TestDaySheet:
    def test_every_ski_of_the_day_stands_in_its_order(self, shop: Shop) -> None:
        sheet = day_sheet(shop)
        assert [r.ski for r in sheet.rows] == [line.ski_name for line in shop.roster()]
        assert [r.order for r in sheet.rows] == list(range(1, len(sheet.rows) + 1))
        assert sheet.summary == "10 skis: 1 signed off, 1 set aside, 8 open"

    def test_numbers_are_in_both_units_or_unread(self, shop: Shop) -> None:
        by_ski = {r.ski: r for r in day_sheet(shop).rows}
        assert by_ski["Heron 66"].numbers == ((UNREAD, UNREAD),) * 3
        assert by_ski["Heron 67"].numbers[0] == ("2.4835", "63.08")

    def test_open_points_are_named(self, shop: Shop) -> None:
        by_ski = {r.ski: r for r in day_sheet(shop).rows}
        assert "depth under by 0.0080 in = 0.20 mm" in by_ski["Heron 67"].points
        assert "clamp-bolt check and sign-off open" in by_ski["Stilt 67"].points
        assert by_ski["Otter 66"].said.startswith("set aside: a clamp bolt is stripped")
        assert by_ski["Stilt 65"].points == ()

    def test_a_pass_begun_says_that_the_bolts_are_loose(self, shop: Shop) -> None:
        view = ski(shop, "Heron 67")
        shop.step_done(shop.step_done(view))
        row = next(r for r in day_sheet(shop).rows if r.ski == "Heron 67")
        assert any("clamp bolts loose" in point for point in row.points)

    def test_initials_are_those_of_the_sign_off(self, shop: Shop) -> None:
        view = winged(shop, "sign-off")
        shop.sign_off(view, "ZZ")
        row = next(r for r in day_sheet(shop).rows if r.ski == "Heron 67")
        assert (row.initials, row.wing, row.glyph) == ("ZZ", "7.5°", "✓")


class TestText:
    def test_the_setting_stands_above_all_else(self, shop: Shop) -> None:
        """Each number with its method, and the wing, before the first fact of the ski."""
        card = card_of(shop, winged(shop, "signed off"))
        top = card_text(card).split("Rider")[0]
        for number in card.numbers:
            assert f"{number.quantity.upper():<14} {number.both}  ({number.method})" in top
        assert "WING           7.5°" in top
        assert card.ski in top.split("\n")[1]

    def test_a_number_outside_its_tolerance_says_so_there_too(self, shop: Shop) -> None:
        top = card_text(card_of(shop, ski(shop, "Heron 67"))).split("Rider")[0]
        assert [line.split()[0] for line in top.split("\n") if "! OUTSIDE tolerance" in line] == [
            "DEPTH", "TAIL",
        ]  # fmt: skip

    @pytest.mark.parametrize("width", [50, 80])
    def test_the_drawing_is_of_letters_alone_and_can_be_left_out(
        self, shop: Shop, width: int
    ) -> None:
        """The base, three places where jaws touched and the studs; without it nothing else goes."""
        card = card_of(shop, ski(shop, "Stilt 65"))
        drawn = plain_picture(card.side, width)
        assert all(line.isascii() and len(line) <= width for line in drawn)
        assert 6 <= len(drawn) <= 13
        text = "".join(drawn)
        assert text.count("o") == len(card.numbers)
        assert {"t", "f", "r", "="} <= set(text)
        with_it = card_text(card, width).split("\n")
        without = card_text(card, width, drawing=False).split("\n")
        assert all(line in with_it for line in drawn)
        assert not any(line in without for line in drawn)
        assert [line for line in with_it if line and line in without] == list(filter(None, without))

    def test_what_lies_higher_on_the_ski_is_drawn_higher(self, shop: Shop) -> None:
        """The blade's deepest edge above the base, the studs below it."""
        drawn = plain_picture(card_of(shop, ski(shop, "Stilt 65")).side, 80)
        base = next(i for i, line in enumerate(drawn) if "===" in line)
        assert "o" in drawn[0]
        assert {i > base for i, line in enumerate(drawn) if "r" in line or "f" in line} == {True}


def test_the_skis_own_unit_stands_first_on_its_pages(shop: Shop) -> None:
    """Both are there; where nothing was read that is said once."""
    view = ski(shop, "Stilt 65")
    shop.book.correct_ski(replace(shop.book.ski(view.ski.id), unit="in"))
    inch = card_of(shop, shop.view(view.job.id))
    shop.book.correct_ski(replace(shop.book.ski(view.ski.id), unit="mm"))
    mm = card_of(shop, shop.view(view.job.id))
    for a, b in zip(inch.numbers, mm.numbers, strict=True):
        assert a.in_units(inch.unit) == b.in_units(mm.unit)[::-1]
        assert a.in_units("in")[0] == f"{a.inch} in"
    assert card_of(shop, ski(shop, "Heron 66")).numbers[0].in_units("mm") == (NOT_READ, "")


def test_a_reading_under_way_is_on_the_card_at_once(shop: Shop) -> None:
    """One number read, two not."""
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), "as received")
    view = read(shop, view, view.lines[0], "2.4500")
    numbers = card_of(shop, view).numbers
    assert [n.inch for n in numbers] == ["2.4500", NOT_READ, NOT_READ]


def test_a_ski_without_a_serial_or_model_still_has_its_lines(shop: Shop) -> None:
    view = ski(shop, "Stilt 65")
    bare = replace(view, ski=replace(view.ski, serial="", model="", rider=""))
    facts = dict(card_of(shop, bare).facts)
    assert (facts["Serial"], facts["Model"], facts["Rider"]) == ("—", "—", "—")


# -- the QR code and the label ---------------------------------------------------------------------


@given(serial=st.text(min_size=1, max_size=30).filter(str.strip))
def test_a_codes_line_gives_its_serial_back_whatever_it_is(serial: str) -> None:
    """In letters that a scanner's keyboard has, on one line."""
    assume(all(not "\ud800" <= c <= "\udfff" for c in serial))
    line = code_text(serial, [("depth", "2.4835 in")], "2031-05-06")
    assert line.isascii()
    assert line.isprintable()
    assert serial_in(line) == serial.strip()


@pytest.mark.parametrize("text", ["H66-014", "QT", "QT-7", "2.4835", "", "QTX;H66-014;x", "QT;;x"])
def test_what_is_no_code_stays_as_it_is(text: str) -> None:
    assert serial_in(text) == text


def test_a_label_and_its_code_name_the_ski_to_take_and_to_a_scanner(shop: Shop) -> None:
    card = card_of(shop, ski(shop, "Heron 66"))
    assert card.code.startswith("QT;H66-014;")
    assert job_meant(shop, card.code)[1].ski_name == "Heron 66"
    (line,), _ = by_serial(shop, shop.roster(), card.code)
    assert line.ski_name == "Heron 66"
    assert may_be_serial(card.code)
    label = label_html(card)
    assert "size: 62mm" in label
    assert "<svg" in label
    assert all(number.in_units(card.unit)[0] in label for number in card.numbers)
    assert (
        segno.make(card.code, error="m", micro=False, boost_error=False).svg_inline(
            omitsize=True, border=4, title="QR code of the setting"
        )
        in label
    )
