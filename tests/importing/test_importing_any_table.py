"""Any table at all: words, never a traceback; and what is settled can be written and read again."""

import tempfile
from pathlib import Path

import openpyxl
import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.errors import RundownError
from kit.importing.preview import as_data, preview
from kit.importing.write import write_session
from kit.read.record import read_record
from tests.helpers.import_corpus import imported

HEADS = ["Checkpoint", "Phase", "Point", "Clock", "Time", "Elapsed (min)", "Date", "Device",
         "Battery %", "Limpet 10", "Dunlin 9", "Limpet 10", "Notes", "run", "", "Average",
         "start", "after map", "power off", "timestamp", "event"]  # fmt: skip
CELLS = ["", "", "100", "91", "88 %", "76,5", "0.83", "1", "0", "off", "dead", "-", "n/a", "ca. 70",
         "start", "after map", "map", "end", "during map", "power off", "last seen on", "still on",
         "Average", "08:00", "9:01", "10:03:30", "1:15", "0:30", "2 h 05 min", "61", "46158.4",
         "1778914800", "2026-05-16", "16.05.2026", "03/04/2026", "2026-05-16T08:00:00Z",
         "Limpet 10", "Dunlin 9", "reading", "yes", "=1+1", "\u202ex", "x" * 90]  # fmt: skip

PLAUSIBLE = st.sampled_from(["100", "91", "88 %", "76,5", "64", "", "-", "off"])
CLOCKS = st.lists(
    st.integers(480, 1400).map(lambda m: f"{m // 60:02d}:{m % 60:02d}"), min_size=6, max_size=6
).map(sorted)


@st.composite
def tables(draw):
    """Draw a table that is nearly right: a card, a list or a log, in which some cells are not."""
    kind = draw(st.sampled_from(["card", "card", "turned", "list", "log", "random"]))
    clocks = draw(CLOCKS)
    names = ["start", "after map", "after photo", "after forms"][: draw(st.integers(1, 4))]
    devices = ["Limpet 10", "Dunlin 9", "Whelk 10 Plus"][: draw(st.integers(1, 3))]
    if kind in ("card", "turned"):
        rows = [["Checkpoint", "Clock", *devices]]
        for name, clock in zip(names, clocks, strict=False):
            rows.append([name, clock, *[draw(PLAUSIBLE) for _ in devices]])
        if draw(st.booleans()):
            ends = ["23:40" if draw(st.booleans()) else "" for _ in devices]
            rows.append(["power off", "", *ends])
        if kind == "turned":
            rows = [list(column) for column in zip(*rows, strict=True)]
    elif kind == "list":
        rows = [["Device", "Phase", "Point", "Clock", "Battery %"]]
        for phase, clock in zip(("map", "photo"), clocks, strict=False):
            rows += [[d, phase, "end", clock, draw(PLAUSIBLE)] for d in devices]
    elif kind == "log":
        rows = [["Date", "Time", "Level"]]
        rows += [["2026-05-16", c, str(100 - i)] for i, c in enumerate(clocks)]
    else:
        rows = [draw(st.lists(st.sampled_from(HEADS), min_size=1, max_size=6))]
        cells = st.lists(st.sampled_from(CELLS), min_size=1, max_size=6)
        rows += draw(st.lists(cells, max_size=8))
    for _ in range(draw(st.integers(0, 2))):
        row = draw(st.sampled_from(rows))
        row[draw(st.integers(0, len(row) - 1))] = draw(st.sampled_from(CELLS))
    top = draw(st.lists(st.lists(st.sampled_from(CELLS), min_size=1, max_size=3), max_size=2))
    return [*(top if draw(st.booleans()) else []), *rows]


TABLES = tables()
MAPPINGS = st.sampled_from(
    ["", "", "",
     '[units]\npercent = "percent"\ntimes = "clock"\nnumbers = "minutes"\nhours = "24"\n'
     'dates = "day_first"\nserials = "1900"\n[words]\nmissed = ["reading", "yes"]\n',
     '[units]\npercent = "fraction"\ntimes = "elapsed"\nnumbers = "hours"\n',
     '[file]\nheader_row = 1\nfill_down = true\n', '[file]\nshape = "devices_in_rows"\n',
     '[file]\nshape = "list"\n', '[file]\nshape = "device_log"\n',
     '[file]\nshape = "scorecard"\n[units]\nhours = "12"\n'],
)  # fmt: skip


def hold(path, mapping):
    """Import a file; what is settled must come back from the folder as it was."""
    try:
        state = imported(path, mapping=mapping)
    except RundownError:
        return
    assert preview(state)
    assert as_data(state)["settled"] == state.is_settled
    if not state.is_settled or state.session is None:
        return
    folder = path.parent / "out"
    write_session(state, folder)
    back, _ = read_record(folder)
    for name in ("readings", "power_offs"):
        columns = [c for c in getattr(back, name).columns if c != "line"]
        one, two = (
            getattr(s, name)[columns].sort_values(columns, ignore_index=True)
            for s in (state.session, back)
        )
        pd.testing.assert_frame_equal(one, two, check_dtype=False)


@settings(max_examples=60, deadline=None)
@given(TABLES, MAPPINGS, st.sampled_from([",", ";", "\t"]))
def test_any_text_table(table, mapping, separator):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.csv"
        lines = [separator.join(f'"{c}"' for c in row) for row in table]
        path.write_text("\n".join(lines), encoding="utf-8")
        hold(path, mapping)


@settings(max_examples=30, deadline=None)
@given(TABLES, MAPPINGS, st.booleans(), st.sampled_from(["", "A1:B1", "B2:D2", "A2:A4"]))
def test_any_workbook(table, mapping, percent, merged):
    book = openpyxl.Workbook()
    page = book.active
    for row in table:
        page.append([_typed(c) for c in row])
    if percent:
        for row in page.iter_rows():
            for one in row:
                one.number_format = "0%"
    if merged:
        page.merge_cells(merged)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.xlsx"
        book.save(path)
        hold(path, mapping)


def _typed(text):
    if not text:
        return None
    try:
        return float(text)
    except ValueError:
        return text


@settings(max_examples=60, deadline=None)
@given(st.binary(max_size=300))
def test_any_bytes(data):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.csv"
        path.write_bytes(data)
        hold(path, "")
