"""Find as you type: what matches, and that a longer line never finds more."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from workbench.work.job.shop import Shop
from workbench.work.roster.queue import (
    Finder,
    folded,
    queue_finder,
    ski_finder,
)

WORDS = st.text(alphabet="abÅØßıé 1-", max_size=8)


@pytest.mark.parametrize(
    ("text", "typed"),
    [("Åkesson", "akesson"), ("BRØD", "brod"), ("Łódź", "lodz"), ("Straße", "STRASSE"),
     ("ﬁn", "FIN"), ("naïve", "naive"), ("İz", "iz"), ("ＨＥＲＯＮ", "heron")],
)  # fmt: skip
def test_accents_and_capitals_do_not_matter(text: str, typed: str) -> None:
    """Either way round."""
    assert folded(text) == folded(typed)
    assert Finder([(1, (text,))]).find(typed) == (1,)


def test_every_word_must_match_somewhere(shop: Shop) -> None:
    """Name, rider, serial and notes together; half a word will do."""
    line = shop.roster()[0]
    ski = shop.book.ski(line.ski_id)
    shop.book.correct_ski(replace(ski, note="stiff tail"))
    for finder, whole in ((queue_finder(shop.roster()), 10), (ski_finder(shop), 11)):
        for typed in ("tavary h66-014", "HERON ines stiff", " 014  tail "):
            assert [x.rider for x in finder.find(typed)] == ["Ines Tavary"], typed
        assert finder.find("heron brandvik stiff") == ()
        assert len(finder.find("")) == whole


def test_the_note_of_a_job_is_searched_in_the_queue(shop: Shop) -> None:
    """It belongs to the visit, not to the ski."""
    done = next(x for x in shop.roster() if x.stage == "signed off")
    shop.queue(done.ski_id, note="for the regatta")
    assert [x.note for x in queue_finder(shop.roster()).find("regatta")] == ["for the regatta"]
    assert ski_finder(shop).find("regatta") == ()


def test_a_corrected_ski_is_found_by_what_it_is_called_now_and_a_struck_one_not(shop: Shop) -> None:
    """The latest row of each ski counts."""
    one, two = (shop.book.ski(x.ski_id) for x in shop.roster()[:2])
    shop.book.correct_ski(replace(one, name="Quail 66"))
    shop.book.strike(two.id, "sold", "KV")
    finder = ski_finder(shop)
    assert [x.id for x in finder.find("quail")] == [one.id]
    assert one.id not in [x.id for x in finder.find("heron")]
    assert two.id not in [x.id for x in finder.find("")]


@given(st.lists(WORDS, max_size=6), st.lists(WORDS, min_size=1, max_size=6))
def test_typing_letter_by_letter_finds_what_the_whole_line_finds(
    things: list[str], lines: list[str]
) -> None:
    """In whatever order lines are typed, the finder says what a fresh one says."""
    known = [(i, (text, "rider")) for i, text in enumerate(things)]
    finder: Finder[int] = Finder(known)
    for line in lines:
        for end in range(len(line) + 1):
            assert finder.find(line[:end]) == Finder(known).find(line[:end])
