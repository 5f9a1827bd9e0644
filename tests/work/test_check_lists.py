"""Changing checklists and torque notes: what a shop may do, and what it may not."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.shop import demo_file, heron, open_shop, ski, walk_to
from workbench.advice.checklists import MAKER_WINS, TORQUE_NOTES, note_for
from workbench.errors import InputError
from workbench.work.job.shop import Shop
from workbench.work.job_text.tasks import torque_words
from workbench.work.roster import check_lists
from workbench.work.trust.shop_policy import shop_rules


def _keys(shop: Shop, which: str) -> list[str]:
    rules = shop_rules(shop.book)
    items = rules.received_now if which == "received" else rules.final_now
    return [i.key for i in items]


def test_items_are_added_reworded_moved_and_taken_off(shop: Shop) -> None:
    """Each change is what the next look at the book shows."""
    check_lists.add_item(shop, "received", "  Bindings tight ", "edges")
    assert _keys(shop, "received") == ["edges", "bindings-tight", "cracks", "hardware"]
    check_lists.reword_item(shop, "received", "cracks", "No crack anywhere")
    check_lists.move_item(shop, "received", "hardware", -1)
    check_lists.remove_item(shop, "received", "edges")
    assert [(i.key, i.words) for i in shop_rules(shop.book).received_now][0::2] == [
        ("bindings-tight", "Bindings tight"), ("cracks", "No crack anywhere"),
    ]  # fmt: skip


def test_the_received_check_keeps_at_least_one_item(shop: Shop) -> None:
    """The last one stays."""
    check_lists.remove_item(shop, "received", "edges")
    check_lists.remove_item(shop, "received", "cracks")
    with pytest.raises(InputError, match="at least one"):
        check_lists.remove_item(shop, "received", "hardware")
    assert _keys(shop, "received") == ["hardware"]


def test_the_clamp_bolts_are_neither_removed_nor_moved_nor_reworded(shop: Shop) -> None:
    """Nor can anything be moved or added below them."""
    for act in (
        lambda: check_lists.remove_item(shop, "final", "clamp"),
        lambda: check_lists.move_item(shop, "final", "clamp", -1),
        lambda: check_lists.reword_item(shop, "final", "clamp", "Fine"),
        lambda: check_lists.move_item(shop, "final", "wing", 1),
    ):
        with pytest.raises(InputError, match="check"):
            act()
    check_lists.add_item(shop, "final", "Base wiped", "clamp")
    for key in ("studs", "block", "wing", "base-wiped"):
        check_lists.remove_item(shop, "final", key)
    assert _keys(shop, "final") == ["clamp"]


ACTS = st.tuples(
    st.sampled_from(["add", "remove", "move", "reword"]),
    st.integers(0, 6),
    st.sampled_from([-1, 1]),
)


@settings(max_examples=15)
@given(st.lists(ACTS, max_size=25), st.sampled_from(["received", "final"]))
def test_whatever_is_changed_the_lists_stay_whole(
    tmp_path_factory: pytest.TempPathFactory, acts: list[tuple[str, int, int]], which: str
) -> None:
    """Keys differ, one item is left, and a final list ends with the clamp bolts."""
    with open_shop(demo_file(tmp_path_factory.mktemp("lists"))) as shop:
        for act, at, by in acts:
            keys = _keys(shop, which)
            key = keys[at % len(keys)]
            try:
                if act == "add":
                    check_lists.add_item(shop, which, "Clamp wing item", key)  # type: ignore[arg-type]
                elif act == "remove":
                    check_lists.remove_item(shop, which, key)  # type: ignore[arg-type]
                elif act == "move":
                    check_lists.move_item(shop, which, key, by)  # type: ignore[arg-type]
                else:
                    check_lists.reword_item(shop, which, key, "Other")  # type: ignore[arg-type]
            except InputError:
                assert _keys(shop, which) == keys
        keys = _keys(shop, which)
        assert len(keys) == len(set(keys)) >= 1
        assert which == "received" or keys[-1] == "clamp"


@pytest.mark.parametrize("words", ["", "   ", "x" * 121, "two\nlines", "\x1b[31mred"])
def test_words_that_would_not_stand_on_a_line_are_refused(shop: Shop, words: str) -> None:
    """By name, and the list is as it was."""
    with pytest.raises(InputError, match="check"):
        check_lists.add_item(shop, "received", words)
    assert len(_keys(shop, "received")) == 3


def test_a_list_does_not_grow_without_end(shop: Shop) -> None:
    """More than twenty items nobody reads."""
    for n in range(17):
        check_lists.add_item(shop, "received", f"Item {n}")
    with pytest.raises(InputError, match="at most 20"):
        check_lists.add_item(shop, "received", "One more")


def test_a_tick_keeps_the_words_it_was_ticked_by(shop: Shop) -> None:
    """What the screen said then stays readable when the words are changed."""
    check_lists.reword_item(shop, "received", "edges", "Edges: gloves on")
    view = shop.tick(ski(shop, "Heron 66"), "edges")
    check_lists.reword_item(shop, "received", "edges", "Edges")
    assert [f.text for f in shop.view(view.job.id).facts] == ["Edges: gloves on"]  # type: ignore[union-attr]


def test_put_back_restores_lists_and_notes(shop: Shop) -> None:
    """As they stood before."""
    before = shop_rules(shop.book)
    check_lists.add_item(shop, "final", "Base wiped")
    check_lists.remove_item(shop, "received", "edges")
    check_lists.reword_torque(shop, "clamp", "two fingers")
    check_lists.put_back(shop, before)
    after = shop_rules(shop.book)
    assert (after.received_now, after.final_now) == (before.received_now, before.final_now)
    assert after.torque == before.torque


# -- torque ----------------------------------------------------------------------------------------


def test_the_notes_as_shipped_are_words_without_a_figure() -> None:
    """A figure is the maker's, never ours."""
    assert {n.name for n in TORQUE_NOTES} == {"clamp bolts", "block screws", "wing screws", "studs"}
    for note in TORQUE_NOTES:
        assert not re.search(r"\d|newton|n·?m\b|inch.pound", note.words, re.IGNORECASE)


def test_every_note_says_that_the_makers_figure_wins(shop: Shop) -> None:
    """Also behind the shop's own words; items without a fastener have none."""
    check_lists.reword_torque(shop, "block", "T-handle, two fingers.")
    notes = shop_rules(shop.book).torque
    assert note_for("block", notes) == f"Block screws: {MAKER_WINS}; T-handle, two fingers."
    for item in ("clamp", "wing", "studs"):
        assert f": {MAKER_WINS}; " in note_for(item, notes)
    assert note_for("edges", notes) == ""
    check_lists.reword_torque(shop, "block", "")
    assert shop_rules(shop.book).torque == {}


@pytest.mark.parametrize(("fastener", "words"), [("bindings", "x"), ("clamp", "x" * 201),
                                                 ("clamp", "a\nb")])  # fmt: skip
def test_a_note_of_no_fastener_or_of_no_line_is_refused(
    shop: Shop, fastener: str, words: str
) -> None:
    """Nothing is kept."""
    with pytest.raises(InputError):
        check_lists.reword_torque(shop, fastener, words)
    assert shop_rules(shop.book).torque == {}


def test_the_item_that_is_due_brings_its_note(shop: Shop) -> None:
    """In the order of the final check."""
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), "final check")
    seen = []
    while view.stage == "final check":
        assert view.check_due is not None
        seen.append(torque_words(view).partition(":")[0])
        view = shop.tick(view, view.check_due.key)
    assert seen == ["Studs", "Block screws", "Clamp bolts"]
    assert torque_words(view) == ""
