"""The run sheet: every section says what the plan says, with room to write and nothing to copy."""

import ast
import json
from dataclasses import replace

import pytest

from kit import run_sheet
from kit.display import Prose, Table
from kit.errors import RecordError, UsageError
from kit.plan.lines import moment
from kit.plan.outlook import outlook
from kit.plan.planned import Limit, Person
from kit.read.conditions import CONDITIONS
from kit.safety.advice import ALWAYS
from kit.session import Phase
from kit.sheet.before import DEVICE_CHECKS, ROW_CHECKS
from kit.sheet.contents import BOX, NAME_WIDTH, Sheet
from kit.sheet.day import ARROWS, EXTRA_ROWS
from tests.helpers.files import ROOT
from tests.helpers.plans import make_plan

TEMPLATE = ROOT / "report_templates" / "run_sheet.ipynb"
RATES = {d: {"map": 10.0, "film": 12.0} for d in "abcd"}


def sheet_of(plan):
    return Sheet(plan=plan, view=outlook(plan), findings=(), file="plan.toml", fingerprint="0a1b")


def make_sheet(**fields):
    return sheet_of(make_plan(**{"phases": {"map": 60.0, "film": 30.0}, "rates": RATES, **fields}))


def table(page):
    (found,) = [item for item in page if isinstance(item, Table)]
    return found


def text(page):
    return "\n".join(item.text for item in page if isinstance(item, Prose)).replace("\xa0", " ")


@pytest.fixture(scope="module")
def sample():
    return run_sheet.load("sample_sessions/plan.toml")


# ---------------------------------------------------------------- loading


def test_a_relative_path_is_found_beside_the_kit(sample, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    again = run_sheet.load("sample_sessions/plan.toml")
    assert again.fingerprint == sample.fingerprint
    assert len(again.fingerprint) == 12
    assert again.file == "plan.toml"


def test_a_plan_that_is_not_there_or_faulty_is_told(tmp_path):
    with pytest.raises(UsageError, match="cannot be read"):
        run_sheet.load(str(tmp_path / "none.toml"))
    bad = tmp_path / "bad.toml"
    bad.write_text("[plan]\nread_at = 1\n")
    with pytest.raises(RecordError, match=r"plan\.read_at"):
        run_sheet.load(str(bad))


def test_long_names_are_cut_and_stay_apart():
    plan = make_plan(devices=("a", "b"), phases={"map": 60.0})
    devices = tuple(replace(d, label="The same very long name") for d in plan.devices)
    names = sheet_of(replace(plan, devices=devices)).names
    assert len(set(names.values())) == 2
    assert all(len(name) <= NAME_WIDTH for name in names.values())


# ---------------------------------------------------------------- before the start


def test_title_says_the_day_and_what_to_do_at_once():
    # four devices at 15 s: a walk of 1 min; 1 + 60 + 1 + 30 + 1 = 93 min after 08:00
    page = text(run_sheet.title_block(make_sheet()))
    assert "Four devices, two phases, from 08:00 with the last timed phase over at 09:33." in page
    assert "One walk along the row takes 1 min." in page
    assert "call the local emergency number" in page
    assert "until 10:00" in text(run_sheet.title_block(make_sheet(stop_min=120)))


def test_doubts_about_the_plan_stand_on_the_first_page(tmp_path):
    path = tmp_path / "plan.toml"
    path.write_text(
        '[session]\nid = "d"\n[[devices]]\nid = "a"\nforecast = { rates_pp_per_h = { mpa = 9 } }\n'
        '[[phases]]\nid = "p"\nactivity = "map"\nplanned_min = 60\n'
    )
    page = text(run_sheet.title_block(run_sheet.load(str(path))))
    assert "Did you mean 'map'?" in page


def test_check_lists_hold_everything_that_makes_a_day_fair(sample):
    once = "\n".join(what for what, _, _ in ROW_CHECKS).casefold()
    each = "\n".join(what for what, _, _ in DEVICE_CHECKS).casefold()
    for word in ("temperature", "place", "network", "luminance", "clock", "cautions"):
        assert word in once
    for word in (
        "100 %", "updated", "health", "brightness", "luminance", "automatic", "saver",
        "notifications", "refresh", "volume", "apps", "swelling",
    ):  # fmt: skip
        assert word in each
    keys = [k for _, _, ks in (*ROW_CHECKS, *DEVICE_CHECKS) for k in ks]
    assert set(keys) <= set(CONDITIONS)
    row = table(run_sheet.once_for_the_row(sample))
    assert row.writing
    assert all(cells[0].startswith(BOX) and cells[-1] == "" for cells in row.rows)
    (luminance,) = [cells for cells in row.rows if "Luminance" in cells[0]]
    assert "With a meter" in luminance[1]
    assert luminance[1].replace("\xa0", " ").endswith("Planned: 180 cd/m².")


def test_every_device_has_its_own_box(sample):
    grid = table(run_sheet.on_every_device(sample))
    assert [c.name for c in grid.columns[2:]] == [d.label for d in sample.plan.devices]
    assert all(cells[2:] == (BOX,) * 6 for cells in grid.rows)
    held = {cells[0]: cells[1] for cells in grid.rows}["Charged to 100 % and held"]
    assert held.replace("\xa0", " ") == "Planned: 45 min."
    # what is different on one device stands below
    assert any("Dunlin 9: power saver on, cannot be" in note for note in grid.notes)


def test_who_is_present_and_when_nobody_is(sample):
    page = run_sheet.people(sample)
    assert [cells[:3] for cells in table(page).rows] == [
        ("Wren", "07:30", "14:00"),
        ("Teal", "11:30", "19:30"),
    ]
    assert text(page) == ""
    alone = run_sheet.people(
        make_sheet(people=(Person(name="Wren", from_min=0, to_min=50, task=""),))
    )
    assert "Nobody is with the devices from 08:50 to 09:33." in text(alone)
    assert "write names and times here" in text(run_sheet.people(make_sheet()))


def test_cautions_are_those_of_the_report(sample):
    page = text(run_sheet.cautions(sample))
    for advice in ALWAYS:
        assert advice.text in page
    assert "0 to 40 °C" in page
    assert "without a source" in page


# ---------------------------------------------------------------- the day


def test_timetable_has_a_box_and_room_on_every_line(sample):
    grid = table(run_sheet.timetable(sample))
    assert grid.writing
    assert len(grid.rows) == len(sample.view.table.items)
    assert all(cells[0].startswith(f"{BOX} ") and cells[1] == "" for cells in grid.rows)
    by_time = {cells[0].removeprefix(f"{BOX} "): cells for cells in grid.rows}
    assert by_time["14:53"][3] == "call: Kelpfin 11; the others guide"
    assert by_time["17:14"][4] == "until empty"
    assert by_time["19:30"][3:] == ("End of session", "")
    walks = [cells[3] for cells in grid.rows if "Read the row" in cells[3]]
    assert [w[0] for w in walks] == ["→", "←"] * (len(walks) // 2)


def test_scorecard_has_a_row_a_walk_and_a_column_a_device(sample):
    grid = table(run_sheet.scorecard(sample))
    walks = [i for i in sample.view.table.items if i.kind == "walk"]
    assert len(grid.rows) == len(walks) + EXTRA_ROWS
    assert [c.heading for c in grid.columns[3:]] == [f"{d.label} (%)" for d in sample.plan.devices]
    for cells, walk in zip(grid.rows, walks, strict=False):
        assert cells[0].startswith(ARROWS[walk.direction])
        assert cells[1] == moment(sample.plan, walk.start_min)
        assert set(cells[2:]) == {""}
    assert any("swap" in cells[0] for cells in grid.rows)


def test_a_long_row_has_the_numbers_of_phases_and_says_so():
    few, many = make_sheet(devices=tuple("abcdefgh")), make_sheet(devices=tuple("abcdefghi"))
    assert table(run_sheet.scorecard(few)).rows[0][0] == "→ 1 map, start"
    grid = table(run_sheet.scorecard(many))
    assert grid.rows[0][0] == "→ 1, start"
    assert "phases as numbered in the timetable" in grid.caption


def test_no_expected_percentage_is_printed(sample):
    """Whoever knows what should come reads what should come."""
    for page in (run_sheet.scorecard(sample), run_sheet.timetable(sample)):
        cells = [cell for row in table(page).rows for cell in row]
        assert not any("%" in cell for cell in cells)


def test_limited_phases_say_how_they_are_shared(sample):
    page = text(run_sheet.limited_phases(sample))
    assert "At most 5 at once do stream (the lecture service allows five streams" in page
    assert "Exposure: each device 10 min of call and 50 min of guide; equal." in page
    assert "Leave its place empty." in page
    assert "Every device does the same" in text(run_sheet.limited_phases(make_sheet()))


def test_limited_phase_without_a_reason():
    call = Phase(
        id="r", label="Call", kind="rotation", parts=("map", "film"), planned_min=40, turn_min=10
    )
    plan = make_plan(phases=(call,), rates=RATES, limits=(Limit(activity="map", at_once=1),))
    assert "At most 1 at once do map.\n" in text(run_sheet.limited_phases(sheet_of(plan)))


def test_windows_and_how_often_to_look(sample):
    page = run_sheet.near_the_end(sample)
    assert "every 2 min: each power-off is then known to 3 min" in text(page)
    rows = {cells[0]: cells[1:] for cells in table(page).rows}
    window = sample.view.windows[0]
    low, high = (moment(sample.plan, t) for t in (window.low_min, window.high_min))
    assert rows["Limpet 10"] == (f"{low} to {high}", moment(sample.plan, window.expected_min))
    unknown = run_sheet.near_the_end(make_sheet(rates={}))
    assert {cells[1] for cells in table(unknown).rows} == {"no rate known"}
    seconds = run_sheet.near_the_end(make_sheet(known_to_min=1.0, seconds=5.0))
    assert "and note seconds" in text(seconds)


def test_power_offs_have_a_row_for_each_device(sample):
    page = run_sheet.power_offs(sample)
    grid = table(page)
    assert [cells[0] for cells in grid.rows] == [d.label for d in sample.plan.devices]
    names = [c.name for c in grid.columns]
    assert {"Last seen on", "First seen off", "Last %", "Still on at stop"} <= set(names)
    assert "last seen on" in text(page)
    assert "do not touch" in text(page)
    ticks = table(run_sheet.ticks(sample))
    assert ticks.writing
    assert all(set(cells[1:]) == {""} for cells in ticks.rows)


def test_data_for_machines(sample):
    (bundle,) = run_sheet.data(sample)
    session = bundle.results["session"]
    assert session["date"] == "2026-06-06"
    assert session["fingerprint"] == sample.fingerprint
    assert ["Plan", "plan.toml"] in session["facts"]
    tables = bundle.results["tables"]
    assert len(tables["timetable"]["rows"]) == len(sample.view.table.items)
    assert [row[0] for row in tables["windows"]["rows"]] == [d.id for d in sample.plan.devices]
    (undated,) = run_sheet.data(make_sheet(date=None, rates={}))
    assert undated.results["session"]["date"] is None
    assert undated.results["tables"]["windows"]["rows"][0] == ["a", None, None, None]


# ---------------------------------------------------------------- the template


def cells_of(kind):
    notebook = json.loads(TEMPLATE.read_text(encoding="utf-8"))
    return [c for c in notebook["cells"] if c["cell_type"] == kind]


def test_cells_hold_imports_assignments_and_calls_only():
    allowed = (
        ast.Module, ast.Import, ast.ImportFrom, ast.alias, ast.Assign, ast.Expr, ast.Call,
        ast.Name, ast.Load, ast.Store, ast.Attribute, ast.Constant, ast.keyword,
    )  # fmt: skip
    for cell in cells_of("code"):
        for node in ast.walk(ast.parse("".join(cell["source"]))):
            assert isinstance(node, allowed), ast.dump(node)


def test_no_output_is_stored_and_one_cell_has_the_parameter():
    cells = cells_of("code")
    assert all(c["outputs"] == [] and c["execution_count"] is None for c in cells)
    tagged = [c for c in cells if "parameters" in c["metadata"].get("tags", ())]
    assert len(tagged) == 1
    assert 'plan = "sample_sessions/plan.toml"' in "".join(tagged[0]["source"])


def test_every_section_function_is_called_once():
    source = "".join("".join(c["source"]) for c in cells_of("code"))
    for name in set(run_sheet.__all__) - {"Sheet", "load", "show"}:
        assert source.count(f"run_sheet.{name}(sheet)") == 1, name


def test_sections_that_begin_a_page_are_there():
    headings = {"".join(c["source"]).splitlines()[0] for c in cells_of("markdown")}
    assert {f"## {title}" for title in run_sheet.NEW_PAGE} <= headings
