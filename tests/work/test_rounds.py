"""An order with the history of its block and blade: read strictly, answered with the next act."""

from __future__ import annotations

import json
import random
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.fin.learning_shop import METHODS, Truth
from tests.fin.plates import IN
from workbench.cli import main

Captured = pytest.CaptureFixture[str]
Line = dict[str, Any]
ACTS = {"turn", "leave", "push_home", "measure_again"}


def order_of(shop: Truth, aims: list[float], read: dict[int, list[float]], **more: Any) -> Line:
    """Return the work order of a simulated shop: readings and targets in inches."""
    rig = shop.told
    return {
        "unit": "in",
        "finest_turn": 0,
        "blade": {
            "name": rig.blade.name,
            "outline": [[u / IN, v / IN] for u, v in rig.blade.outline_mm],
            "top_edge": [[u / IN, v / IN] for u, v in rig.blade.top_edge_mm],
            "back_edge": [[u / IN, v / IN] for u, v in rig.blade.back_edge_mm],
            "holes": [
                {"name": h.name, "at": [h.at_mm[0] / IN, h.at_mm[1] / IN],
                 "diameter": h.diameter_mm / IN} for h in rig.blade.holes
            ],
        },
        "studs": [
            {"name": s.name, "touches": s.touches, "at": [s.at_mm[0] / IN, s.at_mm[1] / IN],
             "axis": list(s.axis), "lead": s.lead_mm / IN, "tip_radius": s.tip_radius_mm / IN}
            for s in rig.studs
        ],
        "methods": [
            {"name": METHODS[0].name, "quantity": "depth",
             "station": {"hole": "2", "edge": "back"}},
            {"name": METHODS[1].name, "quantity": "tail", "band": [0, 0.3]},
            {"name": METHODS[2].name, "quantity": "length", "band": [0.01, 0.01]},
        ],
        "readings": [
            {"method": m.name, "values": [v / IN for v in read[i]]} for i, m in enumerate(METHODS)
        ],
        "targets": [
            {"method": m.name, "value": aims[i] / IN, "tolerance": 0.002}
            for i, m in enumerate(METHODS)
        ],
        **more,
    }  # fmt: skip


def by_method(read: dict[int, list[float]]) -> dict[str, list[float]]:
    return {METHODS[i].name: [v / IN for v in values] for i, values in read.items()}


def one_take(shop: Truth) -> dict[int, list[float]]:
    return {i: [v] for i, v in shop.take().items()}


class Bench:
    """Asks the command line, in files of a folder."""

    def __init__(self, folder: Path, capsys: Captured) -> None:
        self.order, self.history = folder / "order.json", folder / "rounds.jsonl"
        self._capsys = capsys

    def write(self, order: Line, lines: list[Line]) -> list[str]:
        self.order.write_text(json.dumps(order))
        self.history.write_text("".join(json.dumps(line) + "\n" for line in lines))
        return ["turns", str(self.order), "--history", str(self.history)]

    def ask(self, order: Line, lines: list[Line]) -> Line:
        assert main([*self.write(order, lines), "--json"]) == 0, self._capsys.readouterr().err
        out, err = self._capsys.readouterr()
        assert err == ""
        report: Line = json.loads(out)
        return report

    def text(self, order: Line, lines: list[Line]) -> str:
        assert main(self.write(order, lines)) == 0
        return self._capsys.readouterr().out

    def refused(self, order: Line, lines: list[Line]) -> str:
        assert main(self.write(order, lines)) == 2
        out, err = self._capsys.readouterr()
        assert out == ""
        assert err.count("\n") == 1
        return err


@pytest.fixture
def bench(tmp_path: Path, capsys: Captured) -> Bench:
    return Bench(tmp_path, capsys)


def worked(shop: Truth, jobs: int) -> list[Line]:
    """Return the history of some jobs whose studs were turned by chance."""
    lines = []
    for k in range(jobs):
        shop.new_job()
        shop.settle()
        shop.seat()
        before = by_method(one_take(shop))
        turns = {s.name: shop.rng.uniform(-0.8, 0.8) for s in shop.told.studs}
        shop.turn_studs(list(turns.values()))
        shop.seat()
        lines.append(
            {"job": f"A{k}", "unit": "in", "before": before, "turns": turns,
             "after": by_method(one_take(shop)), "settled": True}
        )  # fmt: skip
    return lines


def test_jobs_are_led_to_their_targets(bench: Bench) -> None:
    """Done as it says, through files alone, four skis end on target in few rounds."""
    shop = Truth(random.Random(31))
    lines: list[Line] = []
    rounds = 0
    for k in range(4):
        aims = shop.new_job()
        shop.settle()
        shop.seat()
        read, first = one_take(shop), True
        for _ in range(30):
            report = bench.ask(order_of(shop, aims, read, job=f"J{k}", settled=True), lines)
            act = report["act"]
            assert act["do"] in ACTS
            if act["do"] == "leave":
                break
            if act["do"] == "measure_again":
                again = [i for i, m in enumerate(METHODS) if m.name in act["methods"]]
                assert again
                for i, value in shop.take(again).items():
                    read[i].append(value)
                continue
            turns = {s["name"]: s["turns"] for s in report["studs"]}
            assert (act["do"] == "push_home") == (not any(turns.values()))
            line = {"job": f"J{k}", "unit": "in", "turns": turns, "settled": True}
            line |= {"before": by_method(read)} if first else {}
            shop.turn_studs(list(turns.values()))
            shop.seat(pushed=act["do"] == "push_home")
            read, first = one_take(shop), False
            lines.append({**line, "after": by_method(read)})
            rounds += 1
        assert act["do"] == "leave"
        assert act["p_within"] >= 0.5
        worst = max(abs(t - a) for t, a in zip(shop.true(), aims, strict=True))
        assert worst < 1.5 * 0.002 * IN
    assert rounds <= 10


def test_the_answer_holds_what_was_learnt(bench: Bench) -> None:
    """Leads, backlash and rounds by stud, the seating's hypotheses, and the act's chances."""
    shop = Truth(random.Random(32))
    lines = worked(shop, 15)
    aims = shop.new_job()
    shop.seat()
    read = {i: [v, v, v] for i, v in shop.take().items()}
    report = bench.ask(order_of(shop, aims, read, job="now"), lines)
    learned = report["learned"]
    assert learned["rounds"] == 15
    assert learned["thread_question"] is None
    for stud, error, backlash in zip(
        learned["studs"], shop.lead_errors, shop.backlash, strict=True
    ):
        assert abs(stud["lead_ratio"] - 1 - error) < 3 * stud["u_lead_ratio"] < 3 * 0.0175
        assert abs(stud["backlash"] - backlash) < 3.5 * stud["u_backlash"] < 3.5 * 0.018
        assert stud["rounds"] == 15
    whole = sum(h["probability"] for h in report["seating"])
    assert whole == pytest.approx(1.0, abs=1e-3)
    assert report["seating"][0]["hypothesis"] == "all_well"
    assert 0 <= report["act"]["p_within"] < report["act"]["p_within_after"] <= 1
    assert {s["name"] for s in report["studs"]} == set(report["act"]["turns"])
    # What was read stays as it was read.
    now = {p["method"]: p["now"] for p in report["predicted"]}
    assert now == {m.name: pytest.approx(read[i][0] / IN) for i, m in enumerate(METHODS)}


def test_without_a_history_nothing_changes_and_nothing_is_loaded(bench: Bench) -> None:
    """The plain command loads none of it, and gives the keys it gave."""
    shop = Truth(random.Random(33))
    shop.seat()
    words = bench.write(order_of(shop, shop.true(), one_take(shop)), [])
    code = (
        "import sys; from workbench.cli import main; "
        f"status = main(['turns', {words[1]!r}, '--json']); "
        "late = [m for m in sys.modules if m.startswith(('workbench.fin.learn', "
        "'workbench.work.order.learned_turns', 'workbench.work.order.learned_turns'))]; "
        "sys.exit(status or ' '.join(late) or 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, check=False)
    assert done.returncode == 0, done.stderr.decode()
    assert not {"act", "learned", "seating"} & set(json.loads(done.stdout))


def test_an_empty_history_still_says_the_next_act(bench: Bench) -> None:
    """With one take of each reading the others are asked for before the first turn."""
    shop = Truth(random.Random(34))
    aims = shop.new_job()
    shop.seat()
    report = bench.ask(order_of(shop, aims, one_take(shop)), [])
    assert report["act"]["do"] == "measure_again"
    assert len(report["act"]["methods"]) == 3
    assert report["learned"]["rounds"] == 0


def test_where_the_own_lines_stand_changes_nothing(bench: Bench) -> None:
    """Others' rounds teach the same whether they stand before, after or between a job's own."""
    shop = Truth(random.Random(35))
    others, own = worked(shop, 4), worked(shop, 1)
    own[0]["job"] = "mine"
    read = {i: [own[0]["after"][m.name][0] * IN] for i, m in enumerate(METHODS)}
    order = order_of(shop, shop.true(), read, job="mine")
    answers = [
        bench.ask(order, lines)
        for lines in ([*others, *own], [*own, *others], [*others[:2], *own, *others[2:]])
    ]
    assert answers[0] == answers[1] == answers[2]


def test_a_push_home_is_a_round_without_turns(bench: Bench) -> None:
    """A gap is named with its stud, in the answer and in words; pushed home, it has gone."""
    shop = Truth(random.Random(36), gap_p=0.0, gap_again_p=0.0)
    lines = worked(shop, 6)
    shop.put([0.008 * IN, -0.006 * IN, 0.004 * IN])
    aims = shop.true(shop.seated_at(shop.home))
    shop.settle()
    shop.seat()
    first = {i: [v for _ in range(3) for v in [shop.take()[i]]] for i in range(3)}
    order = order_of(shop, aims, first, job="now", settled=True)
    act = bench.ask(order, lines)["act"]
    assert act["do"] == "turn"
    turns = act["turns"]
    shop.turn_studs(list(turns.values()))
    shop.seat()
    aims = shop.true()  # home, it would be just right
    travels = [t.mm for t in shop.rig.travels(shop.pose)]
    travels[1] += 0.0065 * IN
    shop.pose = shop.seated_at(travels)
    read = one_take(shop)
    lines.append(
        {"job": "now", "unit": "in", "before": by_method(first), "turns": turns,
         "after": by_method(read), "settled": True}
    )  # fmt: skip
    order = order_of(shop, aims, read, job="now", settled=True)
    act = bench.ask(order, lines)["act"]
    assert (act["do"], act["stud"]) == ("push_home", "rear")
    said = bench.text(order, lines).splitlines()[0]
    assert said.startswith("Push the blade home at the top rear stud and measure again")
    shop.seat(pushed=True)
    read = one_take(shop)
    lines.append(
        {"job": "now", "unit": "in", "turns": dict.fromkeys(turns, 0), "after": by_method(read)}
    )
    report = bench.ask(order_of(shop, aims, read, job="now", settled=True), lines)
    gaps = sum(h["probability"] for h in report["seating"] if h["hypothesis"] == "gap")
    assert gaps < 0.1


def test_a_wrong_thread_is_asked_about(bench: Bench) -> None:
    """A left-hand stud told as right-hand is asked about, with the hand that fits."""
    shop = Truth(random.Random(37))
    lines = []
    for k in range(3):
        shop.new_job()
        shop.settle()
        shop.seat()
        before = by_method(one_take(shop))
        told = {s.name: 0.6 for s in shop.told.studs}
        shop.turn_studs([0.6, -0.6, 0.6])
        shop.seat()
        lines.append(
            {"job": f"K{k}", "unit": "in", "before": before, "turns": told,
             "after": by_method(one_take(shop))}
        )  # fmt: skip
    shop.seat()
    order = order_of(shop, shop.true(), one_take(shop))
    question = bench.ask(order, lines)["learned"]["thread_question"]
    assert question["stud"] == "rear"
    assert question["hand"] == "left"
    assert "10-32 UNF" in question["threads"]
    assert "left hand?" in bench.text(order, lines)


def test_the_text_says_the_act_first_and_what_was_learnt(bench: Bench) -> None:
    """One sentence with its chance, then the table as ever, then the studs."""
    shop = Truth(random.Random(38))
    lines = worked(shop, 3)
    aims = shop.new_job()
    shop.seat()
    text = bench.text(order_of(shop, aims, one_take(shop)), lines)
    assert text.splitlines()[0].startswith("Measure again before the first turn: ")
    assert "Learned so far" in text
    assert "front: not yet told from its thread; backlash" in text
    assert "from 3 rounds" in text
    assert "all well: " in text
    read = {i: [v, v, v] for i, v in shop.take().items()}
    first = bench.text(order_of(shop, aims, read), lines).splitlines()[0]
    assert first.startswith("Turn top front 0.298 turn out, top rear ")
    assert first.endswith(" % to be on target after it.")


Edit = Callable[[list[Line]], object]


def turn(line: int, stud: str, value: object) -> Edit:
    return lambda h: h[line - 1]["turns"].update({stud: value})


def take(line: int, key: str, method: str, value: object) -> Edit:
    return lambda h: h[line - 1][key].update({method: value})


def put(line: int, key: str, value: object) -> Edit:
    return lambda h: h[line - 1].update({key: value})


def drop(line: int, *keys: str) -> Edit:
    def edit(history: list[Line]) -> None:
        table = history[line - 1]
        for key in keys[:-1]:
            table = table[key]
        del table[keys[-1]]

    return edit


def times(first: str, second: str) -> Edit:
    return lambda h: (h[0].update(at=first), h[1].update(at=second))


LENGTH = "length, tips"
BROKEN: dict[str, tuple[Edit, str, str]] = {
    "an unknown stud": (turn(2, "middle", 0.1), "line 2.turns.middle", "'front', 'rear', 'tail'"),
    "an unknown method": (take(2, "after", "width", [1.0]), "line 2.after.width", "tail, upper"),
    "no readings after": (drop(2, "after"), "line 2.after", "(missing)"),
    "a reading missing": (drop(2, "after", LENGTH), "line 2.after", "3 readings"),
    "no take": (take(1, "before", LENGTH, []), f"line 1.before.{LENGTH}", "one or more"),
    "no number": (take(1, "before", LENGTH, ["x"]), f"line 1.before.{LENGTH}[0]", "'x'"),
    "another unit": (put(3, "unit", "mm"), "line 3.unit", "'in'"),
    "an unknown unit": (put(3, "unit", "ft"), "line 3.unit", "'in'"),
    "no unit": (drop(3, "unit"), "line 3.unit", "(missing)"),
    "another blade": (put(2, "blade", "Heron"), "line 2.blade", "'Bench plate'"),
    "out of order": (times("2026-05-04T10:00", "2026-05-04T09:00"), "line 2.at", "T10:00"),
    "a time that is none": (put(1, "at", "noon"), "line 1.at", "2026-05-04T09:30:00"),
    "no turns": (drop(2, "turns"), "line 2.turns", "(missing)"),
    "endless turns": (turn(2, "front", 1e6), "line 2.turns.front", "40"),
    "turns that are no number": (turn(2, "front", True), "line 2.turns.front", "True"),
    "no job": (drop(2, "job"), "line 2.job", "(missing)"),
    "a key that is not known": (put(2, "afters", {}), "line 2.afters", "did you mean 'after'"),
    "readings of no pose": (take(2, "after", LENGTH, [900.0]), "line 2.after", "blade's reach"),
    "settled in words": (put(2, "settled", "yes"), "line 2.settled", "true or false"),
    "no readings before": (drop(2, "before"), "line 2.before", "first round of a job"),
}


@pytest.mark.parametrize(("edit", "where", "told"), BROKEN.values(), ids=BROKEN.keys())
def test_a_wrong_line_is_refused_by_its_line_and_key(
    edit: Edit, where: str, told: str, bench: Bench
) -> None:
    """Exit status 2, one line on standard error, nothing on standard output."""
    shop = Truth(random.Random(39))
    lines = worked(shop, 3)
    shop.seat()
    order = order_of(shop, shop.true(), one_take(shop))
    bench.ask(order, lines)
    edit(lines)
    err = bench.refused(order, lines)
    assert where in err
    assert told in err


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ('{"job": "J",', "line 2"),
        ("[1, 2]", "line 2"),
        ('{"job": "J", "job": "K"}', "line 2: job"),
        ('{"job": NaN}', "line 2"),
        ("[" * 5000, "line 2"),
    ],
)
def test_a_line_that_is_no_object_is_refused(line: str, told: str, bench: Bench) -> None:
    """Broken JSON is told by its line."""
    shop = Truth(random.Random(40))
    good = worked(shop, 1)
    shop.seat()
    order = order_of(shop, shop.true(), one_take(shop))
    words = bench.write(order, good)
    with bench.history.open("a") as file:
        file.write(line + "\n")
    assert main(words) == 2
    out, err = bench._capsys.readouterr()
    assert out == ""
    assert told in err
    assert err.count("\n") == 1


def test_a_history_that_is_not_there_is_told(bench: Bench) -> None:
    """The file is named."""
    shop = Truth(random.Random(41))
    shop.seat()
    words = bench.write(order_of(shop, shop.true(), one_take(shop)), [])
    bench.history.unlink()
    assert main(words) == 2
    assert "--history: " in bench._capsys.readouterr().err


def test_one_standard_input_does_not_do_for_two_files(capsys: Captured) -> None:
    """Order and history cannot both come from it."""
    assert main(["turns", "-", "--history", "-"]) == 2
    assert "--history: '-'" in capsys.readouterr().err


def test_the_takes_of_the_last_round_are_not_counted_twice(bench: Bench) -> None:
    """The order's readings are the last line's; a further take of them counts as one more."""
    shop = Truth(random.Random(42), gap_p=0.0)
    lines = worked(shop, 3)
    lines[-1]["job"] = "now"
    read = {i: [lines[-1]["after"][m.name][0] * IN] for i, m in enumerate(METHODS)}
    aims = [v[0] + 0.0015 * IN for v in read.values()]
    once = bench.ask(order_of(shop, aims, read, job="now"), lines)
    chance = once["act"]["p_within"]
    more = {i: [*v, *v, *v, *v] for i, v in read.items()}
    again = bench.ask(order_of(shop, aims, more, job="now"), lines)
    assert again["act"]["p_within"] != pytest.approx(chance, abs=0.01)
    lines[-1]["after"] = by_method(more)
    both = bench.ask(order_of(shop, aims, more, job="now"), lines)
    assert both["act"]["p_within"] == pytest.approx(again["act"]["p_within"], abs=1e-9)
