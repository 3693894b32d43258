"""The mapping file: every key does what docs/importing.md says, every fault names key and line."""

import re
from pathlib import Path

import pytest

from kit.importing.mapping import ROLES, Decisions, read_mapping
from tests.helpers.import_corpus import (
    HEAD,
    assert_the_day,
    book,
    card,
    csv_card,
    imported,
    wrong_rules,
)

DOC = (Path(__file__).parents[2] / "docs" / "importing.md").read_text(encoding="utf-8")

FAULTS = {
    '[file]\nshape = "table"\n': ("file.shape", 2),
    "[file]\nheader_row = 0\n": ("file.header_row", 2),
    '[file]\nseparator = "|"\n': ("file.separator", 2),
    '[file]\nencoding = "klingon"\n': ("file.encoding", 2),
    '[file]\nfill_down = "yes"\n': ("file.fill_down", 2),
    "[units]\npercent = 100\n": ("units.percent", 2),
    "[units]\n\nunits = 1\n": ("units.units", 3),
    '[session]\ntimezone = "Mars/Olympus"\n': ("session.timezone", 2),
    '[session]\ndate = "16/05/26"\n': ("session.date", 2),
    "[session]\nstart = 8\n": ("session.start", 2),
    '[words]\noff = "dead"\n': ("words.off", 2),
    '[columns]\nTime = "when"\n': ("columns.Time", 2),
    "[rows]\nTotal = 3\n": ("rows.Total", 2),
    '[sheets.Card]\nrun = "two"\n': ("sheets.Card.run", 2),
    '[devices.limpet]\nclock_offset_s = "40 s"\n': ("devices.limpet.clock_offset_s", 2),
    "[devices.limpet]\noffset = 40\n": ("devices.limpet.offset", 2),
    '[devices.a]\nnames = ["x"]\n[devices.b]\nnames = ["X"]\n': ("devices.b.names", 4),
    "[cells]\nC = 3\n": ("cells.C", 2),
    "[cells]\nC7 = true\n": ("cells.C7", 2),
    "[cell]\nC7 = 1\n": ("cell", 1),
}


@pytest.mark.parametrize("text", FAULTS)
def test_a_fault_names_its_key_and_line(text):
    _, findings = read_mapping(text.encode(), "m.toml")
    assert [(f.column, f.line, f.file) for f in findings] == [(*FAULTS[text], "m.toml")]


def test_what_is_no_toml_names_its_line():
    _, findings = read_mapping(b"[units]\npercent = \n", "m.toml")
    assert [(f.rule, f.line) for f in findings] == [("setup-syntax", 2)]
    assert read_mapping(b"\xff\xfe", "m.toml")[1]


def test_keys_that_meet_nothing_are_told_with_their_line(tmp_path):
    path = book(tmp_path / "a.xlsx", card())
    for mapping, line in (
        ("[cells]\nZ99 = 1\n", 2),
        ('[cells]\n"Other!C3" = 1\n', 2),
        ("\n[sheets.Other]\nrun = 2\n", 2),
    ):
        state = imported(path, mapping=mapping)
        assert [(f.rule, f.file, f.line) for f in state.findings if f.severity == "error"] == [
            ("import-key", "mapping.toml", line)
        ]


def test_every_key_is_in_the_document():
    source = (Path(__file__).parents[2] / "kit" / "importing" / "mapping.py").read_text(
        encoding="utf-8"
    )
    keys = set(
        re.findall(r'\.(?:text|texts|choice|whole|flag|number|table)\(\s*"([a-z_0-9]+)"', source)
    )
    keys |= {"date", "timezone", "start", "shape"}
    assert len(keys) > 25
    for key in keys:
        assert re.search(rf"`\[?{key}\b", DOC), key
    for role in ROLES:
        assert f"`{role}`" in DOC, role


def test_the_example_in_the_document_is_a_mapping_file():
    examples = re.findall(r"```toml\n(.*?)```", DOC, re.DOTALL)
    assert examples
    for text in examples:
        decisions, findings = read_mapping(text.encode(), "m.toml")
        assert findings == ()
        assert decisions != Decisions()


@pytest.mark.parametrize("key", ["Tab 1", "C"])
def test_a_column_may_be_named_by_heading_or_letters(key, tmp_path):
    rows = card([(*v, "x") for v in [(100, 100), (91, 88), (76, None)]], head=[*HEAD, "Tab 1"])
    letters = "E" if key == "C" else key
    state = imported(book(tmp_path / "a.xlsx", rows), mapping=f'[columns]\n"{letters}" = "note"\n')
    assert_the_day(state)
    assert set(state.session.readings["note"]) == {"x"}


def test_headings_in_another_language_can_be_said(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text(
        csv_card(";", ",0").replace("Checkpoint", "Messpunkt").replace("Clock", "Uhrzeit")
        .replace("last seen on", "zuletzt an").replace("first seen off", "aus gesehen")
        .replace("Limpet 10", "Gerät 1"),
        encoding="cp1252",
    )  # fmt: skip
    mapping = """
        [file]
        encoding = "cp1252"
        [columns]
        Uhrzeit = "clock"
        [rows]
        "zuletzt an" = "last seen on"
        "aus gesehen" = "first seen off"
        [devices."Limpet 10"]
        names = ["Gerät 1"]
    """
    assert_the_day(imported(path, mapping=mapping))
    assert wrong_rules(imported(path)) == {"file-encoding"}


def test_the_heading_and_the_shape_can_be_said(tmp_path):
    top = [["Limpet 10", "Dunlin 9"], [5, 7]]  # looks like a table
    path = book(tmp_path / "a.xlsx", card(), top=top)
    assert_the_day(imported(path, mapping='[file]\nheader_row = 3\nshape = "scorecard"\n'))
    by_sheet = '[sheets.Card]\nheader_row = 3\nshape = "scorecard"\ndate = 2026-05-16\n'
    state = imported(path, mapping=by_sheet)
    assert_the_day(state)
    assert str(state.session.date) == "2026-05-16"
    assert wrong_rules(imported(path, mapping="[file]\nheader_row = 99\n")) == {"import-no-table"}


def test_blank_cells_mean_the_one_above_only_if_it_is_said(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text(
        "phase,checkpoint,Limpet 10\nmap,start,100\n,end,91\nphoto,end,76\n", encoding="utf-8"
    )
    filled = imported(path, mapping="[file]\nfill_down = true\n").session.readings
    assert list(zip(filled["phase"], filled["point"], filled["soc_pct"], strict=True)) == [
        ("map", "start", 100), ("map", "end", 91), ("photo", "end", 76),
    ]  # fmt: skip


def test_title_label_date_start_and_zone_reach_the_setup_file(tmp_path):
    path = book(tmp_path / "a.xlsx", card())
    mapping = """
        [session]
        title = 'Two "field" tablets'
        date = 2026-05-16
        timezone = "Europe/London"
        start = "07:30"
        [devices."Limpet 10"]
        label = "Limpet 10 (borrowed)"
    """
    state = imported(path, mapping=mapping)
    assert state.session.readings["t_min"].tolist()[:2] == [30, 30]
    for line in (
        'title = "Two \\"field\\" tablets"',
        'timezone = "Europe/London"',
        'start = "07:30"',
        'label = "Limpet 10 (borrowed)"',
    ):
        assert line in state.setup


def test_every_rule_is_in_the_document():
    folder = Path(__file__).parents[2] / "kit" / "importing"
    source = "".join(p.read_text(encoding="utf-8") for p in folder.glob("*.py"))
    rules = set(re.findall(r'"(import-[a-z-]+)"', source))
    assert len(rules) > 15
    assert set(re.findall(r"`(import-[a-z-]+)`", DOC)) == rules
