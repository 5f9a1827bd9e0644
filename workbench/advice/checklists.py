"""What is looked at before a ski is touched and before it leaves the bench, and in what order.

The lists and notes here are where a shop begins (common practice, no source); it may change them.
The clamp bolts come last, always, and are never taken off the list: a loose one throws a rider. A
figure belongs to the maker of block, ski or wing: where there is one it wins over every note, and
every note is shown with that said.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from workbench.frozen import dataclass

WING, CLAMP = "wing", "clamp"
"""Keys with a meaning: an item for skis with a wing only, and the one that always comes last."""


@dataclass(frozen=True, slots=True)
class CheckItem:
    """One thing to look at: a stable key for the book and the words on the screen."""

    key: str
    words: str


RECEIVED: tuple[CheckItem, ...] = (
    CheckItem("edges", "Blade edges looked at; they cut: hold the blade by its faces"),
    CheckItem("cracks", "No crack in block or blade, no play of the block on the ski"),
    CheckItem("hardware", "Clamp bolts, studs and block screws all there, threads clean"),
)

CLAMP_ITEM = CheckItem(CLAMP, "Clamp bolts snug, evenly, to the maker's figure; checked last")

FINAL: tuple[CheckItem, ...] = (
    CheckItem("studs", "All three studs touch the blade"),
    CheckItem("block", "Block screws tight, to the maker's figure"),
    CheckItem(WING, "Wing screws tight, wing angle read once more"),
    CLAMP_ITEM,
)


def with_clamp_last(items: Iterable[CheckItem]) -> tuple[CheckItem, ...]:
    """Return a final list whose last item is the clamp bolts, whatever was put in its place."""
    return (*(i for i in items if i.key != CLAMP), CLAMP_ITEM)


def final_items(has_wing: bool, items: Iterable[CheckItem] = FINAL) -> tuple[CheckItem, ...]:
    """Return a final list for a ski with or without a wing; the clamp bolts are its last item."""
    return with_clamp_last(i for i in items if has_wing or i.key != WING)


MAKER_WINS = "the maker's figure wins"


@dataclass(frozen=True, slots=True)
class TorqueNote:
    """A kind of fastener, its words, and the items of the checklists that it belongs to."""

    key: str
    name: str
    words: str
    items: tuple[str, ...]


TORQUE_NOTES: tuple[TorqueNote, ...] = (
    TorqueNote(
        "clamp", "clamp bolts", "by turns, evenly, in two rounds; never forced", ("clamp",)
    ),
    TorqueNote(
        "block", "block screws", "crosswise, until they firm up", ("block",)
    ),
    TorqueNote("wing", "wing screws", "a short driver, by hand; they strip easily", ("wing",)),
    TorqueNote(
        "studs", "studs", "fingertip touch: a stud clamps nothing", ("studs",)
    ),
)  # fmt: skip


def note_for(item: str, notes: Mapping[str, str]) -> str:
    """Return the note that belongs to an item of a checklist, else nothing.

    ``notes`` are the shop's own words by fastener; what it left alone keeps the words from here.
    """
    for note in TORQUE_NOTES:
        if item in note.items:
            return f"{note.name.capitalize()}: {MAKER_WINS}; {notes.get(note.key, note.words)}."
    return ""


WING_SOURCE = "common practice, no source; the maker's figure wins"


@dataclass(frozen=True, slots=True)
class WingStep:
    """One act: its name and how it is done."""

    name: str
    words: str


STEPS: tuple[WingStep, ...] = (
    WingStep("snug", "both wing screws, so that the wing holds by itself and still moves."),
    WingStep("slide", "the wing home: square to the blade, as far out on one side as the other."),
    WingStep("set", "the angle with the gauge against the straightedge; look from both sides."),
    WingStep("tighten", "the screws by turns, a little each, never over the maker's figure; read "
             "the angle once more."),
)  # fmt: skip
