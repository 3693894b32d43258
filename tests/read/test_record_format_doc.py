"""The description of the format: its examples are read, and it names all there is."""

import re
from dataclasses import fields

import pytest

from kit.read.conditions import CONDITIONS
from kit.read.table_schema import log_schema
from kit.session import Assumptions, Device, Gauge, Phase
from tests.helpers.files import ROOT
from tests.helpers.records import errors, read

TEXT = (ROOT / "docs" / "record-format.md").read_text(encoding="utf-8")
LOG, DENSE, CARD = re.findall(r"```csv\n(.*?)```", TEXT, re.DOTALL)
(SETUP,) = re.findall(r"```toml\n(.*?)```", TEXT, re.DOTALL)
NAMED = set(re.findall(r"`([^`\n]+)`", re.sub(r"```.*?```", "", TEXT, flags=re.DOTALL)))


@pytest.mark.parametrize("table", [LOG, DENSE, CARD])
def test_the_examples_are_read_without_any_finding_but_missing_readings(table):
    session, findings = read(table, SETUP)
    assert {f.rule for f in findings} <= {"reading-missing"}
    assert {d.id for d in session.devices} == {"limpet", "dunlin"}


def test_the_log_and_the_scorecard_of_the_examples_say_the_same():
    log, _ = read(LOG, SETUP)
    card, _ = read(CARD, SETUP)
    for session in (log, card):
        offs = session.power_offs.set_index("device")
        # 08:00 to 09:56, 09:58 and 10:03
        assert offs.loc["dunlin", "last_on_min"] == 116.0
        assert offs.loc["dunlin", "first_off_min"] == 118.0
        assert offs.loc["limpet", "last_on_min"] == 123.0
    assert card.readings["soc_pct"].tolist()[:4] == [100.0, 100.0, 90.0, 91.5]


@pytest.mark.parametrize("table", [LOG, DENSE, CARD])
def test_the_tables_are_read_alone(table):
    assert errors(table, None) == []


def test_every_column_and_event_is_described():
    assert set(log_schema().names) <= NAMED
    assert set(log_schema().fields[0].enum) <= NAMED
    for field in log_schema().fields[1:]:
        assert set(field.enum) <= NAMED


def test_every_key_of_the_setup_file_is_described():
    assert set(CONDITIONS) <= NAMED
    for kind in (Device, Phase, Gauge, Assumptions):
        assert {f.name for f in fields(kind)} - {"stated"} <= NAMED, kind


def test_every_rule_of_the_readers_is_listed_with_its_level():
    source = "".join(
        path.read_text(encoding="utf-8") for path in (ROOT / "kit" / "read").glob("*.py")
    )
    families = (
        "cell|charge|checkpoint|clock|column|date|device|file|log|off|operator|part|phase|reading"
    )
    used = set(
        re.findall(rf'"((?:{families}|row|run|scorecard|setup|soc|start|time)-[a-z-]+)"', source)
    )
    used |= {f"cell-{r}" for r in ("required", "type", "enum", "pattern", "minimum", "maximum")}
    used |= {"device-unknown", "phase-unknown"}
    listed = {r for r in NAMED if re.fullmatch(r"[a-z]+(-[a-z]+)+", r)}
    assert used - listed == set()
    assert {
        r for r in listed if r.split("-")[0] in (*families.split("|"), "reading")
    } - used == set()
