"""What bench and command line both ask for is declared once, beside the use case that takes it."""

from __future__ import annotations

import ast
from collections.abc import Callable, Iterator
from importlib import import_module
from pathlib import Path
from pkgutil import walk_packages

import pytest

from tests.shop import demo_file, open_shop, ski
from tests.test_help import COMMANDS
from workbench import work
from workbench.bench.bases.forms import Form
from workbench.bench.hand.state import BenchState
from workbench.bench.screens.shop import shop_forms
from workbench.bench.screens.shop.block_screens import MeasureForm
from workbench.bench.screens.shop.caliper_screens import caliper_form
from workbench.bench.screens.shop.scan_screen import TraceForm
from workbench.bench.screens.shop.study_list import plan_form
from workbench.bench.screens.ski.aim_screens import _baseline_form, ride_form
from workbench.bench.screens.ski.marks_screen import mark_form
from workbench.bench.screens.ski.ski_forms import TemperatureScreen, WearForm
from workbench.bench.screens.ski.wing_screen import curve_form
from workbench.work.history.rides import RIDE
from workbench.work.job.base_curve import DEPTHS, SAGITTA
from workbench.work.job.coarse_marks import MARK
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.job.temperature import HEAT
from workbench.work.roster import adding, ski_sheet
from workbench.work.roster.baselines import KEEP
from workbench.work.roster.calipers import CALIPER
from workbench.work.roster.corrections import CORRECTED
from workbench.work.roster.measured_block import MEASURED
from workbench.work.study.studies import PLAN
from workbench.work.text.fields import Field
from workbench.work.trace.look import ASKED

ROOT = Path(__file__).parent.parent / "workbench"

Make = Callable[[Shop, JobView], Form]


def _of(form: Callable[[Shop, BenchState], Form]) -> Make:
    return lambda shop, view: form(shop, BenchState(view=view))


ACTS: tuple[tuple[str, tuple[Field, ...], Make], ...] = (
    ("add-ski", adding.SKI, _of(shop_forms.AddSki)),
    ("queue-ski", adding.KNOWN_SKI, _of(shop_forms.QueueSki)),
    ("correct-ski", ski_sheet.SHEET, _of(shop_forms.SheetForm)),
    ("wear", ski_sheet.WORN, _of(WearForm)),
    ("add-blade", adding.BLADE, _of(shop_forms.AddBlade)),
    ("add-block", adding.BLOCK, _of(shop_forms.AddBlock)),
    ("measure-block", MEASURED, _of(MeasureForm)),
    ("add-caliper", CALIPER, lambda shop, _: caliper_form(shop, "in")),
    ("add-mark", MARK, lambda shop, view: mark_form(shop, view, "in")),
    ("temperature", HEAT, _of(TemperatureScreen)),
    ("new-baseline", KEEP, _baseline_form),
    ("curve", SAGITTA, lambda shop, view: curve_form(shop, view, "sagitta", "in")),
    ("curve", DEPTHS, lambda shop, view: curve_form(shop, view, "three depths", "in")),
    ("ride", RIDE, ride_form),
    ("study", PLAN, lambda shop, view: plan_form(shop, BenchState(view=view))),
    ("trace", ASKED, _of(TraceForm)),
    ("correct-block", (CORRECTED,), _of(shop_forms.BlockForm)),
)
"""The commands that do what a form of the bench does, with the fields that both ask for."""

OTHERWISE = {
    ("add-ski", "wing"), ("add-mark", "unit"), ("measure-block", "unit"), ("study", "name"),
    ("study", "unit"), ("trace", "unit"), ("trace", "name"), ("temperature", "blade"),
}  # fmt: skip
"""Options that say less or more than the line: a flag, a choice of units, a place, a name that may
be left out."""

SPECIAL = {
    "setup_form": "the wing's five settings at once, their lengths in the unit of the bench",
    "BaselineForm": "a line for each number of this baseline",
    "ExchangeScreen": "the path of the errand that was chosen",
}
"""Functions and classes of the bench that make fields of their own, and why."""


FORM_ALONE = {"AGAIN", "NOTES", "LINES", "PAIR"}
"""Fields of forms whose commands take something else: queueing again, notes, settings, a pair."""


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    with open_shop(demo_file(tmp_path_factory.mktemp("declared"))) as opened:
        yield opened


@pytest.mark.parametrize(("name", "declared", "make"), ACTS, ids=[act[0] for act in ACTS])
def test_form_and_options_are_made_of_the_same_fields(
    shop: Shop, name: str, declared: tuple[Field, ...], make: Make
) -> None:
    """Each line of the form is a declared field, and so is each option of its name."""
    fields = make(shop, ski(shop, "Heron 66")).fields
    if name != "correct-block":  # its file says what the form asks figure by figure
        assert set(fields) <= set(declared)
    actions = {action.dest: action for action in COMMANDS[name]._actions}
    shared = [field for field in declared if field.name in actions]
    assert shared or declared == DEPTHS  # which come three times as --depth PLACE DEPTH
    for field in shared:
        if (name, field.name) not in OTHERWISE:
            action = actions[field.name]
            assert action.metavar in (field.typed, None), field.name
            assert field.words in (action.help or ""), field.name


def test_no_field_is_declared_at_the_bench_or_on_the_command_line() -> None:
    """They stand beside the use cases, those apart whose lines depend on what is there."""
    found = {
        getattr(node, "name", path.name)
        for path in (*ROOT.glob("bench/**/*.py"), *ROOT.glob("commands/**/*.py"))
        for node in ast.parse(path.read_text("utf-8")).body
        for call in ast.walk(node)
        if isinstance(call, ast.Call)
        and isinstance(call.func, ast.Name)
        and call.func.id == "Field"
    }
    assert found == set(SPECIAL)


def test_no_declared_fields_are_left_out_above() -> None:
    """Whatever a use case declares is compared, or stands in a form alone."""
    found = {
        name: value
        for module in walk_packages(work.__path__, "workbench.work.")
        for name, value in vars(import_module(module.name)).items()
        if isinstance(value, tuple) and value and all(isinstance(each, Field) for each in value)
    }
    compared = [declared for _, declared, _ in ACTS]
    assert {name for name, fields in found.items() if fields not in compared} == FORM_ALONE


def test_a_field_says_the_same_at_both() -> None:
    """What it is, and what a blank one stands for, in the words of each."""
    asked = Field("unit", "Unit", "in or mm", "UNIT", blank="the bench's")
    assert (asked.said(), asked.help) == (
        "in or mm; blank: the bench's", "in or mm; left out: the bench's",
    )  # fmt: skip
    needed = Field("name", "Name", "a name of its own", "NAME")
    assert (needed.said("; known: 1"), needed.help) == (
        "a name of its own; known: 1", "a name of its own",
    )  # fmt: skip
    assert Field("of", "Of", "whose", "OF", default="ski").help == "whose; left out: ski"
    assert Field("due", "Due", "when", "WORDS", blank="").said() == "when; may stay blank"
