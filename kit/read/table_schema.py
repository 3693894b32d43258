"""Validation of a table of texts against a Table Schema, all faults at once.

The log is described in ``schemas/log.schema.json`` by the open standard Table Schema (Data
Package standard, https://datapackage.org/standard/table-schema/); this module reads that file
and nothing else says what a cell may hold. The subset it understands is declared below; a schema
that asks for more is refused, for a rule that is silently not applied is worse than none.

Two properties of our own, which the standard allows, carry the words of the messages:
``expected`` and ``remedy``.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Literal, cast, get_args

import numpy as np

from kit.read.cells import MOST_ALIKE, distinct_texts, hint, parse_numbers

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import pandas as pd
    from numpy.typing import NDArray

    from kit.read.cells import Collector

__all__ = ["Field", "Schema", "UnsupportedSchemaError", "load_schema", "log_schema", "validate"]

FieldType = Literal["string", "number", "integer"]

SUPPORTED_CONSTRAINTS = frozenset({"required", "enum", "minimum", "maximum", "pattern"})
FIELD_PROPERTIES = frozenset(
    {"name", "title", "type", "description", "constraints", "expected", "remedy"}
)
SCHEMA_PROPERTIES = frozenset(
    {"$schema", "name", "title", "description", "missingValues", "fields"}
)


INTEGER = re.compile(r"[+-]?[0-9]+")


class UnsupportedSchemaError(ValueError):
    """The schema asks for something that this module does not check."""


@dataclass(frozen=True, kw_only=True)
class Field:
    """One column: its type, constraints and the words of its messages."""

    name: str
    title: str
    description: str
    type: FieldType
    required: bool = False
    enum: tuple[str, ...] = ()
    minimum: float | None = None
    maximum: float | None = None
    pattern: str = ""
    expected: str = ""
    remedy: str = ""

    @property
    def expectation(self) -> str:
        """Return what a cell should hold, in words."""
        if self.expected:
            return self.expected
        if self.enum:
            return f"one of {', '.join(self.enum)}"
        return {
            "string": "a text",
            "number": "a number",
            "integer": "a whole number",
        }[self.type]


@dataclass(frozen=True, kw_only=True)
class Schema:
    """The columns of a table, in order."""

    fields: tuple[Field, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """Return the names of the columns."""
        return tuple(f.name for f in self.fields)


def load_schema(descriptor: Mapping[str, object]) -> Schema:
    """Read a Table Schema descriptor.

    Raises
    ------
    UnsupportedSchemaError
        If it holds a type, constraint, property or pattern outside the declared subset.

    Examples
    --------
    >>> load_schema({"fields": [{"name": "a", "type": "number", "constraints": {"unique": True}}]})
    Traceback (most recent call last):
    kit.read.table_schema.UnsupportedSchemaError: field 'a': constraint 'unique' is not supported
    """
    _only(descriptor, SCHEMA_PROPERTIES, "schema", "property")
    missing = descriptor.get("missingValues", [""])
    if missing != [""]:
        message = f"schema: missingValues {missing!r} is not supported, only ['']"
        raise UnsupportedSchemaError(message)
    fields = descriptor.get("fields")
    if not isinstance(fields, list) or not fields:
        message = "schema: 'fields' must be a list of fields"
        raise UnsupportedSchemaError(message)
    return Schema(fields=tuple(_field(f) for f in fields))


def _only(given: Mapping[str, object], allowed: frozenset[str], where: str, what: str) -> None:
    for key in given:
        if key not in allowed:
            message = f"{where}: {what} {key!r} is not supported"
            raise UnsupportedSchemaError(message)


def _field(given: Mapping[str, object]) -> Field:
    where = f"field {given.get('name')!r}"
    _only(given, FIELD_PROPERTIES, where, "property")
    kind = given.get("type", "string")
    if kind not in get_args(FieldType):
        message = f"{where}: type {kind!r} is not supported"
        raise UnsupportedSchemaError(message)
    constraints = given.get("constraints", {})
    if not isinstance(constraints, dict):
        message = f"{where}: constraints must be an object"
        raise UnsupportedSchemaError(message)
    _only(constraints, SUPPORTED_CONSTRAINTS, where, "constraint")
    textual = [c for c in ("enum", "pattern") if c in constraints]
    numeric = [c for c in ("minimum", "maximum") if c in constraints]
    for name in numeric if kind == "string" else textual:
        message = f"{where}: constraint {name!r} is not supported for type {kind!r}"
        raise UnsupportedSchemaError(message)
    try:
        re.compile(constraints.get("pattern", ""))
    except re.error as error:
        message = f"{where}: pattern is no regular expression ({error})"
        raise UnsupportedSchemaError(message) from error
    return Field(
        name=str(given["name"]),
        title=str(given.get("title", "")),
        description=str(given.get("description", "")),
        type=cast("FieldType", kind),
        required=bool(constraints.get("required", False)),
        enum=tuple(constraints.get("enum", ())),
        minimum=constraints.get("minimum"),
        maximum=constraints.get("maximum"),
        pattern=constraints.get("pattern", ""),
        expected=str(given.get("expected", "")),
        remedy=str(given.get("remedy", "")),
    )


@cache
def log_schema() -> Schema:
    """Return the schema of the log that is shipped with the package."""
    source = resources.files("kit.read").joinpath("schemas/log.schema.json")
    return load_schema(json.loads(source.read_text(encoding="utf-8")))


def validate(
    frame: pd.DataFrame,
    schema: Schema,
    notes: Collector,
    *,
    comma_is_separator: bool = False,
) -> dict[str, NDArray[np.bool_]]:
    """Tell every cell that breaks the schema.

    Parameters
    ----------
    frame
        Categorical columns of texts; a column of the schema that is missing counts as blank.
    notes
        Where the findings go, with the line of every row.
    comma_is_separator
        See :func:`kit.read.cells.parse_numbers`.

    Returns
    -------
    dict
        For each column of the schema in the frame: which rows hold a faulty cell, shape (rows,).
    """
    faulty = {}
    for field in schema.fields:
        if field.name in frame:
            texts = distinct_texts(frame[field.name])
            rules = _broken_rules(texts, field, comma_is_separator=comma_is_separator)
            codes = frame[field.name].cat.codes.to_numpy()
            broken = np.zeros(len(texts), dtype=bool)
            broken[list(rules)] = True
            faulty[field.name] = broken[codes]
            if rules:
                _tell(field, texts, rules, codes, notes)
        elif field.required:
            notes.add(
                "column-missing",
                column=field.name,
                found="no such column",
                expected=f"a column '{field.name}' with {field.expectation}",
                remedy="Add the column, or correct its name in the heading."
                + hint(field.name, [str(c) for c in frame.columns]),
            )
    return faulty


def _broken_rules(
    texts: Sequence[str], field: Field, *, comma_is_separator: bool
) -> dict[int, str]:
    """Return which distinct texts break a rule, by their place, and which rule first."""
    rules: dict[int, str] = {}
    if field.required:
        rules = {i: "required" for i, t in enumerate(texts) if not t}
    if field.enum:
        allowed = frozenset(field.enum)
        rules |= {i: "enum" for i, t in enumerate(texts) if t and t not in allowed}
    elif field.pattern:
        fits = re.compile(f"(?:{field.pattern})?").fullmatch
        rules |= {i: "pattern" for i, t in enumerate(texts) if not fits(t)}
    elif field.type != "string":
        values, bad = parse_numbers(texts, comma_is_separator=comma_is_separator)
        if field.type == "integer":
            bad |= np.array([bool(t) and not INTEGER.fullmatch(t) for t in texts], dtype=bool)
        low = np.zeros_like(bad) if field.minimum is None else values < field.minimum
        high = np.zeros_like(bad) if field.maximum is None else values > field.maximum
        for rule, where in (("maximum", high), ("minimum", low), ("type", bad)):
            rules |= dict.fromkeys(np.flatnonzero(where).tolist(), rule)
    return rules


def _tell(
    field: Field,
    texts: Sequence[str],
    rules: Mapping[int, str],
    codes: NDArray[np.integer],
    notes: Collector,
) -> None:
    for rule in ("required", "type", "enum", "pattern", "minimum", "maximum"):
        of_rule = np.zeros(len(texts), dtype=bool)
        of_rule[[i for i, r in rules.items() if r == rule]] = True
        rows = np.flatnonzero(of_rule[codes])
        if rows.size:
            notes.add_rows(
                f"cell-{rule}",
                rows,
                [texts[codes[r]] for r in rows[:MOST_ALIKE]],
                column=field.name,
                expected=field.expectation,
                remedy=field.remedy,
                likely=field.enum,
            )
