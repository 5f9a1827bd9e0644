"""The pages of a book about what the shop owns."""

from __future__ import annotations

from workbench.records.desk.door import Door
from workbench.records.store.rows import (
    Baseline,
    Blade,
    Block,
    Caliper,
    CaliperCheck,
    Method,
    PartVersion,
    Ski,
    SkiVersion,
)
from workbench.records.tables import entries, roster


class RosterPages(Door):
    """Skis, blades, blocks, methods, calipers and their checks, baselines and settings."""

    def add_ski(self, ski: Ski, *, who: str = "") -> Ski:
        """Keep a new ski (``id=""``); returns it with its id."""
        return self._write(roster.add, ski, who=who)

    def correct_ski(self, ski: Ski, *, who: str = "", reason: str = "") -> Ski:
        """Keep a corrected ski under its old id; what it said before stays in the book.

        Another blade or block is a change of the ski itself and has its ``reason``.
        """
        return self._write(roster.correct, ski, who=who, reason=reason)

    def skis(self) -> tuple[Ski, ...]:
        """All skis that are not struck out, oldest first."""
        return self._read(roster.every, Ski)

    def ski(self, ski_id: str) -> Ski:
        """The ski of this id, struck out or not."""
        return self._read(roster.one, Ski, ski_id)

    def ski_versions(self, ski_id: str) -> tuple[SkiVersion, ...]:
        """A ski as it was first written down and each time it was corrected, oldest first."""
        return self._read(roster.ski_versions, ski_id)

    def add_blade(self, blade: Blade, *, who: str = "") -> Blade:
        """Keep a new blade (``id=""``); returns it with its id."""
        return self._write(roster.add, blade, who=who)

    def correct_blade(self, blade: Blade, *, who: str = "", reason: str = "") -> Blade:
        """Keep a corrected blade under its old id; what it said before stays in the book."""
        return self._write(roster.correct, blade, who=who, reason=reason)

    def blade_versions(self, blade_id: str) -> tuple[PartVersion, ...]:
        """A blade as it was first written down and each time it was corrected, oldest first."""
        return self._read(roster.versions, Blade, blade_id)

    def blades(self) -> tuple[Blade, ...]:
        """All blades that are not struck out, oldest first."""
        return self._read(roster.every, Blade)

    def blade(self, blade_id: str) -> Blade:
        """The blade of this id, struck out or not."""
        return self._read(roster.one, Blade, blade_id)

    def add_block(self, block: Block, *, who: str = "") -> Block:
        """Keep a new block (``id=""``); returns it with its id."""
        return self._write(roster.add, block, who=who)

    def correct_block(self, block: Block, *, who: str = "", reason: str = "") -> Block:
        """Keep a corrected block under its old id; what it said before stays in the book."""
        return self._write(roster.correct, block, who=who, reason=reason)

    def block_versions(self, block_id: str) -> tuple[PartVersion, ...]:
        """A block as it was first written down and each time it was corrected, oldest first."""
        return self._read(roster.versions, Block, block_id)

    def blocks(self) -> tuple[Block, ...]:
        """All blocks that are not struck out, oldest first."""
        return self._read(roster.every, Block)

    def block(self, block_id: str) -> Block:
        """The block of this id, struck out or not."""
        return self._read(roster.one, Block, block_id)

    def add_method(self, method: Method, *, who: str = "") -> Method:
        """Keep a new reading method (``id=""``) of a blade; returns it with its id."""
        return self._write(roster.add, method, who=who)

    def correct_method(self, method: Method, *, who: str = "") -> Method:
        """Keep a corrected method under its old id."""
        return self._write(roster.correct, method, who=who)

    def methods_of(self, blade_id: str) -> tuple[Method, ...]:
        """The methods of a blade that are not struck out, oldest first."""
        return self._read(roster.methods_of, blade_id)

    def method(self, method_id: str) -> Method:
        """The method of this id, struck out or not."""
        return self._read(roster.one, Method, method_id)

    def add_caliper(self, caliper: Caliper, *, who: str = "") -> Caliper:
        """Keep a new caliper (``id=""``); returns it with its id."""
        return self._write(roster.add, caliper, who=who)

    def correct_caliper(self, caliper: Caliper, *, who: str = "") -> Caliper:
        """Keep a corrected caliper under its old id."""
        return self._write(roster.correct, caliper, who=who)

    def calipers(self) -> tuple[Caliper, ...]:
        """All calipers that are not struck out, oldest first."""
        return self._read(roster.every, Caliper)

    def caliper(self, caliper_id: str) -> Caliper:
        """The caliper of this id, struck out or not."""
        return self._read(roster.one, Caliper, caliper_id)

    def checks_of(self, caliper_id: str) -> tuple[CaliperCheck, ...]:
        """The checks of a caliper, oldest first, struck ones included."""
        self.caliper(caliper_id)
        return self._read(entries.every, CaliperCheck, caliper_id=caliper_id)

    def add_baseline(self, baseline: Baseline, *, who: str = "") -> Baseline:
        """Keep a new baseline (``id=""``); returns it with its id."""
        return self._write(roster.add, baseline, who=who)

    def correct_baseline(self, baseline: Baseline, *, who: str = "", reason: str = "") -> Baseline:
        """Keep a corrected baseline under its old id; what it said before stays in the book."""
        return self._write(roster.correct, baseline, who=who, reason=reason)

    def baseline_versions(self, baseline_id: str) -> tuple[PartVersion, ...]:
        """A baseline as it was first written down and each time it was corrected, oldest first."""
        return self._read(roster.versions, Baseline, baseline_id)

    def baseline(self, baseline_id: str) -> Baseline:
        """The baseline of this id, struck out or not."""
        return self._read(roster.one, Baseline, baseline_id)

    def baselines_of(self, ski_id: str) -> tuple[Baseline, ...]:
        """The baselines of a ski that are not struck out, oldest first."""
        return self._read(roster.baselines_of, ski_id)

    def baselines(self) -> tuple[Baseline, ...]:
        """All baselines that are not struck out, oldest first, those of no ski included."""
        return self._read(roster.every, Baseline)

    def every_baseline(self) -> tuple[Baseline, ...]:
        """All baselines, those struck out too, oldest first."""
        return self._read(roster.every_baseline)

    def set_setting(self, name: str, value: str, *, who: str = "") -> None:
        """Keep a setting; the latest of a name is the one in force."""
        self._write(roster.set_setting, name, value, who=who)

    def setting(self, name: str, default: str | None = None) -> str | None:
        """The setting in force under ``name``, or ``default``."""
        return self._read(roster.setting, name, default)

    def settings(self) -> dict[str, str]:
        """All settings in force."""
        return self._read(roster.settings)
