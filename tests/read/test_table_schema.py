"""The schema of the log, the subset of the standard that is checked, and an outside check of it."""

import json
from importlib import resources

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.read.cells import Collector
from kit.read.table_schema import UnsupportedSchemaError, load_schema, log_schema, validate


def schema_of(**field):
    return load_schema({"fields": [{"name": "x", **field}]})


def faults(texts, **field):
    """Return (line, rule) of every fault in a column x of these texts, header = line 1."""
    frame = pd.DataFrame({"x": pd.Categorical(texts)})
    notes = Collector("log.csv", np.arange(2, len(texts) + 2))
    faulty = validate(frame, schema_of(**field), notes)
    assert np.flatnonzero(faulty["x"]).tolist() == sorted({f.line - 2 for f in notes.findings})
    return sorted((f.line, f.rule.removeprefix("cell-")) for f in notes.findings)


def test_each_constraint_is_checked_on_every_row():
    number = {"type": "number", "constraints": {"minimum": 0, "maximum": 100}}
    assert faults(["0", "100", "-1", "101", "x", "", "87,5", "101"], **number) == [
        (4, "minimum"),
        (5, "maximum"),
        (6, "type"),
        (9, "maximum"),
    ]
    assert faults(["a", "b", "c", ""], constraints={"enum": ["a", "b"]}) == [(4, "enum")]
    assert faults(["a", ""], constraints={"required": True}) == [(3, "required")]
    assert faults(["12", "1", "123"], constraints={"pattern": "[0-9]{2}"}) == [
        (3, "pattern"),
        (4, "pattern"),
    ]
    assert faults(["1", "1.0", "1.5", "x"], type="integer") == [
        (3, "type"),
        (4, "type"),
        (5, "type"),
    ]
    assert faults(["anything", ""]) == []


def test_a_fault_says_what_was_expected_and_how_to_mend_it():
    frame = pd.DataFrame({"x": pd.Categorical(["redaing"])})
    notes = Collector("log.csv", np.array([7]))
    validate(
        frame, schema_of(constraints={"enum": ["reading", "tick"]}, remedy="Correct it."), notes
    )
    assert notes.findings[0].sentence == (
        "log.csv, line 7, column x: found 'redaing'; expected one of reading, tick. "
        "Correct it. Did you mean 'reading'?"
    )


@pytest.mark.parametrize(
    ("kind", "words"), [("string", "a text"), ("number", "a number"), ("integer", "a whole number")]
)
def test_what_is_expected_has_words_for_every_type(kind, words):
    assert schema_of(type=kind).fields[0].expectation == words


def test_a_required_column_that_is_missing_is_told_once():
    frame = pd.DataFrame({"evnt": pd.Categorical(["a"])})
    notes = Collector("log.csv", np.array([2]))
    validate(
        frame,
        load_schema(
            {"fields": [{"name": "event", "constraints": {"required": True}}, {"name": "other"}]}
        ),
        notes,
    )
    assert len(notes.findings) == 1
    assert notes.findings[0].rule == "column-missing"
    assert notes.findings[0].column == "event"
    assert notes.findings[0].remedy.endswith("Did you mean 'evnt'?")


@pytest.mark.parametrize(
    ("descriptor", "words"),
    [
        ({"fields": [{"name": "x", "constraints": {"unique": True}}]}, "constraint 'unique'"),
        ({"fields": [{"name": "x", "constraints": {"minLength": 2}}]}, "constraint 'minLength'"),
        ({"fields": [{"name": "x", "constraints": {"minimum": 2}}]}, "'minimum' is not supported"),
        ({"fields": [{"name": "x", "type": "number", "constraints": {"enum": ["1"]}}]}, "'enum'"),
        ({"fields": [{"name": "x", "type": "number", "constraints": {"pattern": "1"}}]},
         "'pattern'"),
        ({"fields": [{"name": "x", "type": "date"}]}, "type 'date'"),
        ({"fields": [{"name": "x", "format": "email"}]}, "property 'format'"),
        ({"fields": [{"name": "x", "constraints": []}]}, "must be an object"),
        ({"fields": [{"name": "x", "constraints": {"pattern": "("}}]}, "no regular expression"),
        ({"fields": [{"name": "x"}], "primaryKey": "x"}, "property 'primaryKey'"),
        ({"fields": [{"name": "x"}], "missingValues": ["NA"]}, "missingValues"),
        ({"fields": []}, "list of fields"),
        ({}, "list of fields"),
    ],
)  # fmt: skip
def test_what_is_not_checked_is_refused_not_passed_over(descriptor, words):
    with pytest.raises(UnsupportedSchemaError, match=words):
        load_schema(descriptor)


def test_the_shipped_schema_describes_every_column_with_words_to_mend_it():
    schema = log_schema()
    assert schema.names[0] == "event"
    assert len(set(schema.names)) == len(schema.names) == 20
    for field in schema.fields:
        assert field.title
        assert field.description.endswith(".")
        if field.enum or field.pattern or field.type != "string":
            assert field.remedy.endswith(".")


def descriptor():
    text = (
        resources.files("kit.read").joinpath("schemas/log.schema.json").read_text(encoding="utf-8")
    )
    return json.loads(text)


GOOD = {
    "event": ["reading", "note"],
    "run": ["1", "12", ""],
    "point": ["start", ""],
    "date": ["2026-05-16", "16.5.2026", ""],
    "clock": ["08:00", "8:00:30", "2:05 PM", "2026-05-16T08:00+02:00", ""],
    "elapsed_min": ["125", "125.5", "2:05", "-0:10", "1e2", ""],
    "soc_pct": ["0", "100", "87.5", ""],
    "last_on": ["14:03", "363", "363.5", ""],
    "temperature_c": ["-10", "35.5", ""],
    "completed": ["yes", ""],
    "order": ["1", ""],
    "note": ["<script>alert(1)</script>", "=HYPERLINK(x)", "**x**", ""],
}
BAD = {
    "event": ["redaing", ""],
    "run": ["0", "1.5", "x", "1001"],
    "point": ["middle"],
    "date": ["5/16/2026", "2026-5-6"],
    "clock": ["25:00", "8.30", "noon", "08:60"],
    "elapsed_min": ["two hours", "1:75", "1:2"],
    "soc_pct": ["-1", "100.5", "87 %", "x"],
    "last_on": ["14.03h", "24:01"],
    "temperature_c": ["201", "warm"],
    "completed": ["Yes", "almost"],
    "order": ["0", "first"],
}


def faults_of_kit(rows):
    names = list(GOOD)
    frame = pd.DataFrame({n: pd.Categorical([r[n] for r in rows]) for n in names})
    notes = Collector("log.csv", np.arange(2, len(rows) + 2))
    validate(frame, log_schema(), notes)
    return sorted((f.line, f.column) for f in notes.findings)


def test_good_cells_pass_and_each_bad_one_is_found():
    rows = [
        {n: v[i % len(v)] for n, v in GOOD.items()} for i in range(max(map(len, GOOD.values())))
    ]
    assert faults_of_kit(rows) == []
    for name, values in BAD.items():
        for value in values:
            assert faults_of_kit([*rows[:2], {**rows[2], name: value}]) == [(4, name)], value


@pytest.mark.system
@settings(max_examples=30, deadline=None)
@given(st.data())
def test_another_implementation_of_the_standard_finds_the_same_cells(data):
    """frictionless (MIT) reads the same schema file and must name the same rows and fields."""
    frictionless = pytest.importorskip("frictionless")
    cell = {n: st.sampled_from([*v, *v, *BAD.get(n, [])]) for n, v in GOOD.items()}
    rows = data.draw(
        st.lists(
            st.fixed_dictionaries(cell).filter(lambda r: any(r.values())), min_size=1, max_size=6
        )
    )
    names = list(GOOD)
    described = descriptor()
    described["fields"] = [f for f in described["fields"] if f["name"] in names]
    resource = frictionless.Resource(
        [names, *([r[n] for n in names] for r in rows)],
        schema=frictionless.Schema.from_descriptor(described),
    )
    report = resource.validate(limit_errors=10_000)
    theirs = {
        (e.row_number, e.field_name)
        for e in report.tasks[0].errors
        if e.type in ("type-error", "constraint-error")
    }
    others = {e.type for e in report.tasks[0].errors} - {"type-error", "constraint-error"}
    assert not others
    assert sorted(theirs) == faults_of_kit(rows)
