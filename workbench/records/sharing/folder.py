"""A shared folder: one append-only file for each bench, so that a stick or a synced drive will do.

A file is lines of ASCII: the first says what it is and carries a random mark, each other one is a
row with a check sum before it. Only its own bench ever writes a file, at its end. A last line that
is not whole yet (the stick was pulled, the drive is still copying) is left until it is; a file that
its bench does not find as it left it (shorter, or gone) is followed by a new one of all
rows, so that taking a damaged file away is all that is needed to have it written anew. A second
copy of a file, as drives make them of two that differ, is read like any other.
"""

from __future__ import annotations

import json
import os
import platform
import secrets
import zlib
from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from workbench.errors import InputError, RecordsError, shown
from workbench.records.backup.place import place_held
from workbench.records.sharing.journal import Arriving, Batch, InHand, Parcel, Seen, SharingError
from workbench.records.store.database import said
from workbench.system import sync_folder

FORMAT = "quarterturn shared rows"
VERSION = 1
ENDING = ".quarterturn-rows"
IN_HAND = ".quarterturn-hand"
"""Of a small file for each bench that is no record: which ski it had in hand when it was there."""
_AT_ONCE = 1000
"""Rows read at a time where only some of them are wanted."""


class Folder:
    """A folder that benches share, with the methods of a ``Hub`` by which a round is made.

    It has a stream for each file, called by its name; one is read no further than a row that is
    refused.

    Positions are bytes. ``share`` is the mark of this bench's own file, ``own_stream`` its name.
    """

    stops_at_refused = True
    loses_sent = False

    def __init__(self, path: Path, bench: str, known: Mapping[str, int]) -> None:
        """``known`` are the marks of files that this bench has written, with their lengths then.

        Raises ``InputError`` for a path that is no folder, ``SharingError`` where it does not
        answer.
        """
        if not path.is_dir():
            raise InputError("--folder", str(path), "a folder that is there")
        self._path, self._bench = path, bench
        self._heads = self._found()
        self.share, self.own_stream = self._own(known) or self._begun()
        self._end: tuple[int, int] | None = None
        self._seen: Seen | None = None

    def _found(self) -> dict[str, dict[str, Any]]:
        """The first lines of all benches' files, by names; what is none of ours is left."""
        with self._answering():
            files = sorted(self._path.glob(f"*{ENDING}"))
            heads = {file.name: _head(file) for file in files}
        return {name: head for name, head in heads.items() if head is not None}

    def _own(self, known: Mapping[str, int]) -> tuple[str, str] | None:
        """Mark and name of this bench's own file, where it is as it was left or longer."""
        for name, head in self._heads.items():
            mark = head["mark"]
            is_own = name == self._name(mark) and head.get("bench") == self._bench
            if is_own and mark in known and self._size(name) >= known[mark]:
                return mark, name
        return None

    def _name(self, mark: str) -> str:
        return f"{self._bench}-{mark}{ENDING}"

    def _size(self, name: str) -> int:
        with self._answering():
            return (self._path / name).stat().st_size

    def _begun(self) -> tuple[str, str]:
        """Begin a file of this bench's own; its mark and name."""
        mark = secrets.token_hex(4)
        head = {"format": FORMAT, "version": VERSION, "bench": self._bench, "mark": mark}
        head |= {"name": platform.node()[:40]}
        file = self._path / self._name(mark)
        with self._answering():
            with file.open("xb") as out:
                out.write(f"{json.dumps(head)}\n".encode())
                out.flush()
                os.fsync(out.fileno())
            sync_folder(self._path)
        self._heads[file.name] = head
        return mark, file.name

    @contextmanager
    def _answering(self) -> Iterator[None]:
        """Say of an error of the system that the folder does not answer."""
        try:
            yield
        except RecordsError:
            raise
        except OSError as error:
            why = f"{shown(str(self._path), 300)}: does not answer ({said(error)})"
            raise SharingError(why) from error

    def knows(self, seen: Seen | None) -> None:
        """Take note of how far this bench has taken all files."""
        self._seen = seen

    def seen_of(self, row: Parcel) -> Seen | None:
        """How far the others' files had been taken: a bench takes them in a round alone."""
        return self._seen if row.is_own else None

    def put(self, rows: Sequence[Parcel], form: int, bench: str) -> None:
        """Append rows to this bench's file; written through to the disk when this returns."""
        text = b"".join(_line(row, form, self.seen_of(row)) for row in rows)
        file = self._path / self.own_stream
        with self._answering(), place_held(file, alone=True), file.open("r+b") as out:
            end = _whole_end(out)
            out.truncate(end)  # of this bench's own last line, which was broken off
            out.seek(end)
            out.write(text)
            out.flush()
            os.fsync(out.fileno())
        self._end = (self._end[0] if self._end else end, end + len(text))

    def streams(self) -> tuple[str, ...]:
        """The names of all files."""
        return tuple(self._heads)

    def is_same(self, stream: str, position: int, mark: str) -> bool:
        """Whether a file is as long as it was."""
        return self._size(stream) >= position

    def read(self, stream: str, position: int, most: int) -> Batch:
        """The next whole lines of a file."""
        file = self._path / stream
        rows: list[Arriving] = []
        at, bench = position, str(self._heads[stream].get("bench", ""))
        with self._answering(), file.open("rb") as lines:
            lines.seek(at)
            while len(rows) < most:
                line = lines.readline()
                if not line.endswith(b"\n"):
                    break
                if at > 0:
                    where = f"{shown(file.name, 300)}, byte {at}"
                    row = _row(line, Arriving(at + len(line), stream, where, "", "", {}, 0, bench))
                    if row is None:
                        why = "damaged; take the file away, and its bench writes it anew"
                        return Batch(tuple(rows), at, stream, f"{where}: {why}")
                    rows.append(row)
                at += len(line)
        return Batch(tuple(rows), at, stream)

    def facts_after(
        self, after: Seen, jobs: Collection[str], tables: Collection[str]
    ) -> list[tuple[str, Arriving]]:
        """Rows of these tables and jobs behind these places of each file."""
        out = []
        for stream in self.streams():
            at = after.get(stream, 0)
            while (batch := self.read(stream, at, _AT_ONCE)).rows:
                at = batch.position
                out += [
                    (stream, row)
                    for row in batch.rows
                    if row.seen is not None
                    and row.table in tables
                    and row.body.get("job_id") in jobs
                ]
        return out

    def names(self) -> dict[str, str]:
        """What the machines of the benches are called."""
        named = ((head.get("bench"), head.get("name")) for head in self._heads.values())
        return {str(bench): str(name)[:40] for bench, name in named if name}

    def say_in_hand(self, who: str, ski: str, at: datetime) -> None:
        """Say which ski (by its id, blank: none) this bench has in hand now."""
        said = {"name": platform.node()[:40], "who": who[:60], "ski": ski, "at": at.isoformat()}
        file = self._path / f"{self._bench}{IN_HAND}"
        made = file.with_suffix(".new")
        with self._answering():
            made.write_text(json.dumps(said), encoding="ascii")
            made.replace(file)

    def in_hand(self) -> tuple[InHand, ...]:
        """What the other benches had in hand when there last; what cannot be read is left out."""
        out = []
        for file in sorted(self._path.glob(f"*{IN_HAND}")):
            if file.name == f"{self._bench}{IN_HAND}":
                continue
            try:
                with file.open("rb") as kept:
                    said = json.loads(kept.read(1000))
                name, who, ski = (str(said[key])[:60] for key in ("name", "who", "ski"))
                at = datetime.fromisoformat(said["at"]).astimezone(UTC)
            except (OSError, ValueError, KeyError, TypeError, OverflowError):
                continue
            if ski:
                out.append(InHand(name, who, ski, at))
        return tuple(out)

    def skip_own(self, position: int) -> tuple[int, str] | None:
        """The end of what was put, where it begins at what was taken of this bench's own file."""
        put, self._end = self._end, None
        if put is None:
            return None
        head = _head_length(self._path / self.own_stream)
        if position != put[0] and not (position == 0 and put[0] == head):
            return None
        return put[1], self.own_stream


def _line(row: Parcel, form: int, seen: Seen | None) -> bytes:
    kept: dict[str, Any] = {"form": form, "table": row.table, "row": row.body}
    if seen is not None and "job_id" in row.body:
        kept["seen"] = seen
    text = json.dumps(kept, ensure_ascii=True, allow_nan=False).encode()
    return b"%08x %s\n" % (zlib.crc32(text), text)


def _row(line: bytes, place: Arriving) -> Arriving | None:
    """The row of a line, at its place; None where it is not as it was written."""
    text = line[9:-1]
    try:
        if int(line[:8], 16) != zlib.crc32(text) or line[8:9] != b" ":
            return None
        kept = json.loads(text)
        body, seen = kept["row"], kept.get("seen")
        if seen is not None:
            seen = {str(name): int(at) for name, at in seen.items()}
        return replace(place, row_id=str(body["id"]), table=str(kept["table"]), body=body,
                       form=int(kept["form"]), seen=seen)  # fmt: skip
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None


def _head(file: Path) -> dict[str, Any] | None:
    """A file's first line; None where it is not whole, or none of ours.

    Raises ``SharingError`` for a file of a newer version.
    """
    with file.open("rb") as lines:
        line = lines.readline(1000)
    try:
        head = json.loads(line) if line.endswith(b"\n") else None
        if not isinstance(head, dict) or head.get("format") != FORMAT:
            return None
        version, mark = head["version"], head["mark"]
    except (ValueError, KeyError, RecursionError):
        return None
    if not isinstance(mark, str) or not isinstance(version, int):
        return None
    if version > VERSION:
        raise SharingError(
            f"{shown(file.name, 300)}: was written by a newer Quarterturn; update this one"
        )
    return head


def _head_length(file: Path) -> int:
    with file.open("rb") as lines:
        return len(lines.readline())


def _whole_end(file: Any) -> int:
    """Where the last whole line of an open file ends."""
    end = int(file.seek(0, os.SEEK_END))
    while end > 0:
        start = max(end - 65536, 0)
        file.seek(start)
        at = file.read(end - start).rfind(b"\n")
        if at >= 0:
            return int(start + at + 1)
        end = start
    return 0
