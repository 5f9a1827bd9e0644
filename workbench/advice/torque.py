"""How each fastener is brought up: words a shop may change, never a figure of ours.

The notes are common practice, no source. A figure belongs to the maker of block, ski or wing: where
there is one it wins over every note, and every note is shown with that said.
"""

from __future__ import annotations

from collections.abc import Mapping

from workbench.frozen import dataclass

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
