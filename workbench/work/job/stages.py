"""The stages of a ski on the bench: one table says what is allowed when.

A job's stage is never stored. It is read off its facts, struck-out ones aside: the stage is the
first gate that is not yet passed. Taking an entry back therefore leads back to where it was made.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import field, replace
from typing import Literal, TypeAlias, assert_never

from workbench.advice.checklists import CLAMP, final_items
from workbench.errors import InputError
from workbench.fin.plan.plan import is_within
from workbench.frozen import dataclass
from workbench.measure.repeats import mean_of
from workbench.records.store import rows
from workbench.work.job.ski_state import REFITTED, UNMEASURED, JobState, final_passed
from workbench.work.trust.job_reading import accepted_mm
from workbench.work.trust.reading_tools import known_temperatures, values_mm
from workbench.work.trust.shop_policy import SHIPPED_RULES, Rules

Stage = Literal[
    "waiting", "received check", "as received", "studs", "target", "turning", "measuring",
    "within", "wing", "final check", "sign-off", "signed off", "set aside",
]  # fmt: skip

Event = Literal[
    "tick received", "read", "seat", "aim", "accept target", "step", "accept", "enough",
    "set wing", "tick final", "second eyes", "sign off", "set aside", "take up", "note", "finest",
    "strike", "temperature", "mark", "read locked",
]  # fmt: skip

STAGE_GLYPHS: dict[Stage, str] = {
    "waiting": "·", "received check": "?", "as received": "○", "studs": "△", "target": "◎",
    "turning": "↻", "measuring": "◐", "within": "=", "wing": "◇", "final check": "□",
    "sign-off": "■", "signed off": "✓", "set aside": "‖",
}  # fmt: skip

_ANYTIME: frozenset[Event] = frozenset({"set aside", "note", "finest", "temperature"})
_READ: frozenset[Event] = _ANYTIME | {"strike"}

ALLOWED: dict[Stage, frozenset[Event]] = {
    "waiting": _ANYTIME | {"tick received", "tick final"},
    "received check": _ANYTIME | {"tick received"},
    "as received": _READ | {"read", "enough", "mark"},
    "studs": _READ | {"read", "seat", "mark"},
    "target": _READ | {"aim", "accept target", "mark"},
    "turning": _READ | {"aim", "step", "accept", "mark"},
    "measuring": _READ | {"read", "enough", "mark"},
    "within": _READ | {"aim", "read", "accept", "mark"},
    "wing": _READ | {"set wing"},
    "final check": _READ | {"tick final"},
    "sign-off": _READ | {"read locked", "second eyes", "sign off"},
    "signed off": frozenset({"note"}),
    "set aside": frozenset({"note", "take up"}),
}
"""Stage and event: everything that is not here is refused. A re-check begins with its final check,
so that both ticks are allowed where a job waits; its kind says which."""


EVENT_WORDS: dict[Event, str] = {
    "tick received": "tick the check that is due",
    "tick final": "tick the check that is due",
    "read": "take a reading",
    "enough": "go on with fewer repeats",
    "seat": "bring the studs up",
    "aim": "give a target",
    "accept target": "accept the target",
    "step": "make the turns",
    "accept": "keep the readings as they are",
    "set wing": "set the wing",
    "read locked": "read once more with the clamp bolts tight",
    "second eyes": "let somebody else look",
    "sign off": "sign it off",
    "take up": "take the ski up again",
    "strike": "strike out a reading",
    "mark": "read a coarse mark",
    "finest": "change the finest turn",
    "temperature": "state a temperature",
    "note": "write a note",
    "set aside": "set the ski aside",
}
"""What is done, as a technician says it, in the order of the work."""

WHILE_TURNED: frozenset[Event] = frozenset({"step", "set aside", "take up", "note", "temperature"})
"""What may be done from the first turn until its round is kept. All else would change what the
turns made were counted from; then the readings of before would pass for the blade's place now."""

HELD: dict[Event, str] = {
    "aim": "target", "accept": "readings", "finest": "finest turn", "strike": "strike out",
    "mark": "coarse mark",
}  # fmt: skip
"""What is refused meanwhile, as an error names it."""

WHILE_ELSEWHERE: frozenset[Event] = frozenset(
    {"set aside", "take up", "note", "strike", "temperature"}
)
"""What may be done to a job while another one of its ski holds an open round."""

ELSEWHERE = "take that job up first, finish its round and measure"
TO_BE_SET = "queue the ski to be set first, and measure"

MID_PASS = "in the middle of a round"
LOOSE = "clamp bolts loose"
NOT_RELEASED = "NOT RELEASED"


class NotNowError(InputError):
    """Something that is not allowed at the stage a job is at."""


class MidPassError(InputError):
    """Something that has to wait until the round under way is finished."""

    def __init__(self, what: str) -> None:
        way_on = "finish this round and measure first, or take its steps back"
        super().__init__(what, MID_PASS, way_on)


class ElsewhereError(InputError):
    """Something that has to wait until another job of the ski is finished."""

    def __init__(self, what: str, why: str) -> None:
        super().__init__(what, why, way_on(why))


def way_on(why: str) -> str:
    """Return what has to be done first where a job waits for another one of its ski."""
    return TO_BE_SET if why in (UNMEASURED, REFITTED) else ELSEWHERE


def check_allowed(stage: Stage, event: Event) -> None:
    """Raise a NotNowError unless the event is allowed at this stage."""
    if event not in ALLOWED[stage]:
        raise NotNowError(
            EVENT_WORDS[event], f"not at the stage {stage}", f"now you can {_can(stage)}"
        )


def _can(stage: Stage) -> str:
    """Return what can be done at a stage, what it is there for before what always can."""
    own = [words for event, words in EVENT_WORDS.items() if event in ALLOWED[stage] - _ANYTIME]
    always = [words for event, words in EVENT_WORDS.items() if event in ALLOWED[stage] & _ANYTIME]
    listed = list(dict.fromkeys(own or always))
    can = " or ".join((", ".join(listed[:-1]), listed[-1])) if len(listed) > 1 else listed[0]
    return f"{can}; for more, queue the ski again" if stage == "signed off" else can


def check_can(at: Progress, event: Event) -> None:
    """Raise unless the event is allowed at the job's stage and by the round under way.

    Raises:
        NotNowError: not at this stage.
        MidPassError: a stud was turned, and the round is not yet kept.
        ElsewhereError: another job of the ski holds an open round.
        InputError: a sign-off that would not follow from what was kept of the ski.
    """
    check_allowed(at.stage, event)
    if at.mid_pass and event not in WHILE_TURNED:
        raise MidPassError(HELD.get(event, event))
    if at.state.elsewhere and event not in WHILE_ELSEWHERE:
        raise ElsewhereError(EVENT_WORDS[event], at.state.elsewhere)
    if event == "sign off" and at.state.bars:
        raise InputError("sign-off", at.state.bars, "a ski of which this is not so")


def refusal(at: Progress, event: Event) -> str:
    """Return why an event is refused now, or nothing."""
    try:
        check_can(at, event)
    except InputError as why:
        return str(why)
    return ""


@dataclass(frozen=True, slots=True)
class Progress:
    """Where a job is: its stage, the round under way, and what there is so far (mm).

    ``values``: repeats as kept, by round number and method id, in order; what they come to, at
    the ``temperatures`` they name, is :meth:`values_mm`. ``step``: acts of this round done.
    ``ticked``: keys ticked of the checklist that is due. ``eyes``: the initials of the second pair
    of eyes that looked after the final check, else nothing. ``gate``: the stage that the work
    is at, also while the ski is set aside. ``state``: what all facts of the ski say of the job.
    ``locked``: by method id, what was read after the final check with the clamp bolts tight for
    good; the last of each.
    """

    stage: Stage
    pass_number: int
    values: Mapping[int, Mapping[str, tuple[rows.Reading, ...]]]
    targets: Mapping[str, rows.Target]
    step: int
    ticked: frozenset[str]
    reason: str = ""
    temperatures: Mapping[str, rows.Temperature] = field(default_factory=dict)
    eyes: str = ""
    gate: Stage = "waiting"
    state: JobState = JobState()
    locked: Mapping[str, rows.LockedReading] = field(default_factory=dict)

    @property
    def loose(self) -> bool:
        """Whether the clamp bolts are loose: from the loosening on until they are snugged."""
        return self.state.loose

    @property
    def unreleased(self) -> str:
        """Why the job's sign-off releases nothing; empty where it does, or there is none."""
        return self.state.why if self.state.standing == "not released" else ""

    @property
    def next_pass(self) -> int:
        """The number of the round under way: of no round and no reading not struck out."""
        return max(self.pass_number, *self.values, 0) + 1

    @property
    def mid_pass(self) -> bool:
        """Whether studs may have been turned since the readings: only loosening comes before."""
        return self.step > 1 and self.gate != "signed off"

    def mean_mm(self, pass_number: int, method_id: str) -> float | None:
        """Return the mean of a method's repeats in a round, or None."""
        taken = self.values_mm(pass_number, method_id)
        return mean_of(taken) if taken else None

    def values_mm(self, pass_number: int, method_id: str) -> tuple[float, ...]:
        """Return what a method's repeats in a round say: at 20 degrees where stated."""
        kept = self.values.get(pass_number, {}).get(method_id, ())
        return values_mm(kept, self.temperatures)


UOf: TypeAlias = Callable[[Progress], Mapping[str, float]]
"""What gives the standard uncertainty (mm) of each reading of the round under way, by method id."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What a job asks for: its kind, the tolerance (mm) of each of the ski's methods in their
    order, by id, and whether there is a wing to set."""

    tolerances_mm: Mapping[str, float]
    has_wing: bool
    kind: rows.JobKind = "setting"


def progress(
    facts: Sequence[rows.AnyFact],
    asked: Asked,
    state: JobState,
    rules: Rules = SHIPPED_RULES,
    u_of: UOf | None = None,
) -> Progress:
    """Read a job's progress off its facts (in order of id) by the shop's rules.

    ``state`` is what all facts of the ski say of this job.

    ``u_of`` is given where a guard band is kept: readings then have to lie inside their tolerance
    by their expanded uncertainty. A gate that was passed stays passed when the rules change: a tick
    counts against the list that was in force when it was made, and readings that were gone on from
    were enough.
    """
    kept = [f for f in facts if f.struck is None and f.id not in state.stray]
    number = state.pass_number
    if state.stale:  # the blade was moved or measured in another job since
        kept = [
            f
            for f in kept
            if not isinstance(f, rows.Reading) or f.pass_number != number or f.id >= state.stale
        ]
    if state.refit:  # another blade or block: what was aimed at and gone on with was of the old one
        kept = [f for f in kept if f.id > state.refit or not _is_of_setting(f)]
    # A reading by another method, such as a coarse mark, bears the others out and moves no gate.
    live = [
        f for f in kept if not isinstance(f, rows.Reading) or f.method_id in asked.tolerances_mm
    ]
    at = Progress(
        stage="waiting",
        pass_number=number,
        values=_values(kept),
        targets={f.method_id: f for f in live if isinstance(f, rows.Target)},
        step=state.step,
        ticked=frozenset(),
        temperatures=known_temperatures(live),
        state=state,
    )
    gates = _Gates(live, asked, rules, at, u_of)
    match asked.kind:
        case "setting":
            stage, ticked = gates.setting()
        case "recheck":
            stage, ticked = gates.recheck()
        case _:
            assert_never(asked.kind)
    gate, eyes = stage, gates.eyes() if stage in ("sign-off", "signed off") else ""
    reason = ""
    aside = [f for f in live if isinstance(f, rows.Mark) and f.kind in ("set_aside", "taken_up")]
    if aside and aside[-1].kind == "set_aside" and stage != "signed off":
        stage, reason = "set aside", aside[-1].text
    return replace(
        at, stage=stage, ticked=ticked, reason=reason, eyes=eyes, gate=gate, locked=gates.locked()
    )


def _is_of_setting(fact: rows.AnyFact) -> bool:
    """Whether a fact is of the setting that the blade has: a target, or a mark that goes on."""
    going_on = isinstance(fact, rows.Mark) and fact.kind in (*GOES_ON, "enough")
    return going_on or isinstance(fact, rows.Target)


GOES_ON = ("seated", "aimed", "reaim", "step", "accepted")
"""Marks that go on from the readings as they stand."""


@dataclass(frozen=True, slots=True)
class _Gates:
    """The facts of a job that stand, and the gates that they have passed."""

    live: Sequence[rows.AnyFact]
    asked: Asked
    rules: Rules
    at: Progress
    u_of: UOf | None

    def setting(self) -> tuple[Stage, frozenset[str]]:
        """Return the stage of the first gate not passed, and what of its checklist is ticked."""
        if self._signed:
            return "signed off", frozenset()
        passed, ticked = self._received()
        if not passed:
            return ("received check" if ticked else "waiting"), ticked
        if not self._read(self.at.pass_number):
            return ("measuring" if self.at.pass_number else "as received"), frozenset()
        marks = {f.kind: f.id for f in self.live if isinstance(f, rows.Mark)}
        if "seated" not in marks:
            return "studs", frozenset()
        opened = max(_last_id(self.live, (rows.Target,)), marks.get("reaim", ""))
        if marks.get("aimed", "") <= opened or "aimed" not in marks:
            return "target", frozenset()
        if self.at.step > 1:  # a stud was turned: these readings are those of before
            return "turning", frozenset()
        touched = _last_id(self.live, (rows.Reading, rows.Target, rows.PassRow))
        if marks.get("accepted", "") < touched:
            met = _met(self.at, self.asked.tolerances_mm, self.u_of)
            return ("within" if met else "turning"), frozenset()
        if self.asked.has_wing and _last_id(self.live, (rows.WingSetting,)) <= touched:
            return "wing", frozenset()
        passed, ticked = self._final()
        return ("sign-off" if passed else "final check"), ticked

    def recheck(self) -> tuple[Stage, frozenset[str]]:
        """Return the stage of a re-check: the final check alone, then the sign-off."""
        if self._signed:
            return "signed off", frozenset()
        passed, ticked = self._final()
        if passed:
            return "sign-off", ticked
        return ("final check" if ticked else "waiting"), ticked

    @property
    def _signed(self) -> bool:
        return any(isinstance(f, rows.SignOff) for f in self.live)

    def _received(self) -> tuple[bool, frozenset[str]]:
        """Whether the received check is passed, now or when one of its ticks was made."""
        ticks = [f for f in self.live if isinstance(f, rows.Tick) and f.checklist == "received"]
        items: frozenset[str] = frozenset()
        for tick in ticks:
            items |= {tick.item}
            if items >= self.rules.received_at(tick.id):
                return True, items
        return bool(items) and items >= {i.key for i in self.rules.received_now}, items

    def _read(self, number: int) -> bool:
        """Whether a round has its readings: all repeats wanted, or fewer that were gone on from."""
        taken = self.at.values.get(number, {})
        least = min((len(taken.get(m, ())) for m in self.asked.tolerances_mm), default=0)
        if least >= self.rules.repeats or least == 0:
            return least > 0 or not self.asked.tolerances_mm
        last = max(r.id for m in self.asked.tolerances_mm for r in taken[m])
        return any(_goes_on(f, number, last) for f in self.live)

    def _touched(self) -> str:
        """The id of the last thing after which the final check has to be gone through anew."""
        accepted = (f.id for f in self.live if isinstance(f, rows.Mark) and f.kind == "accepted")
        changed = _last_id(self.live, (rows.Reading, rows.Target, rows.PassRow, rows.WingSetting))
        return max(changed, *accepted, "")

    def _final(self) -> tuple[bool, frozenset[str]]:
        """Whether the final check is passed; the clamp bolts count where nothing was left open."""
        ticks = self.at.state.ticks
        now = frozenset(i.key for i in final_items(self.asked.has_wing, self.rules.final_now))
        items = frozenset(tick.item for tick in ticks)
        then = (self.rules.final_at(t.id, self.asked.has_wing) for t in ticks if t.item == CLAMP)
        if final_passed(ticks, now, *then):
            return True, items
        return False, items - {CLAMP}

    def locked(self) -> dict[str, rows.LockedReading]:
        """The readings with the clamp bolts tight, by method id; what was loosened since ends them.

        They are a look and no turn: the final check before them counts.
        """
        steps = (f.id for f in self.live if isinstance(f, rows.Mark) and f.kind == "step")
        touched = max(self._touched(), self.at.state.stale, *steps)
        kept = (f for f in self.live if isinstance(f, rows.LockedReading) and f.id > touched)
        return {f.method_id: f for f in kept if f.method_id in self.asked.tolerances_mm}

    def eyes(self) -> str:
        """The initials of who else looked at the ski since its final check."""
        since = max(_last_id(self.live, (rows.Tick,)), self._touched())
        looked = [f for f in self.live if isinstance(f, rows.Mark) and f.kind == "second_eyes"]
        return looked[-1].text if looked and looked[-1].id > since else ""


def _goes_on(fact: rows.AnyFact, number: int, last: str) -> bool:
    """Whether a fact goes on from the readings of a round; ``last`` is the id of the last one."""
    if isinstance(fact, rows.Mark) and fact.kind == "enough":
        return fact.number == number
    if fact.id < last:
        return False
    if isinstance(fact, rows.Mark):
        return fact.kind in GOES_ON
    return isinstance(fact, rows.Target | rows.PassRow | rows.WingSetting | rows.SignOff)


def _values(live: Sequence[rows.AnyFact]) -> dict[int, dict[str, tuple[rows.Reading, ...]]]:
    out: dict[int, dict[str, tuple[rows.Reading, ...]]] = {}
    for f in live:
        if isinstance(f, rows.Reading):
            row = out.setdefault(f.pass_number, {})
            row[f.method_id] = (*row.get(f.method_id, ()), f)
    return out


def _met(at: Progress, tolerances_mm: Mapping[str, float], u_of: UOf | None) -> bool:
    """Whether every reading of the round is within its tolerance, or its guard band inside it."""
    u_mm = u_of(at) if u_of is not None else {}
    for m, usual_mm in tolerances_mm.items():
        now, received = at.mean_mm(at.pass_number, m), at.mean_mm(0, m)
        target = at.targets.get(m)
        aim = target.mm if target is not None else received
        tolerance = target.tolerance_mm if target is not None else usual_mm
        allowed = accepted_mm(tolerance, u_mm.get(m))
        if now is None or aim is None or allowed < 0 or not is_within(now - aim, allowed):
            return False
    return True


def _last_id(live: Sequence[rows.AnyFact], kinds: tuple[type, ...]) -> str:
    return max((f.id for f in live if isinstance(f, kinds)), default="")
