"""Logs that devices kept of themselves, merged by clock."""

import datetime as dt
import time
from zoneinfo import ZoneInfo

import openpyxl
import pytest

from kit.read.record import read_record
from tests.helpers.import_corpus import imported, open_cells, wrong_rules

START = dt.datetime(2026, 5, 16, 8, 0)
EPOCH = 1_778_914_800
"""2026-05-16 07:00 UTC, which is 08:00 in London: 20589 days of 86400 s and 25200 s."""


def test_the_epoch_of_these_tests_is_what_it_says():
    assert dt.datetime(2026, 5, 16, 8, 0, tzinfo=ZoneInfo("Europe/London")).timestamp() == EPOCH


def log(path, stamps, levels, head="timestamp,battery level"):
    lines = [head, *(f"{t},{v}" for t, v in zip(stamps, levels, strict=True))]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def iso(seconds, ahead=0, suffix=""):
    return [f"{START + dt.timedelta(seconds=s + ahead):%Y-%m-%dT%H:%M:%S}{suffix}" for s in seconds]


def rows(state):
    assert state.is_settled, "\n".join(f.sentence for f in state.in_places)
    r = state.session.readings
    return list(zip(r["device"], r["kind"], r["t_min"].round(6), r["soc_pct"], strict=True))


def test_a_clock_that_is_ahead_is_set_back_before_the_logs_are_merged(tmp_path):
    one = log(tmp_path / "limpet.csv", iso([0, 60, 120], ahead=40), [100, 99, 98])
    two = log(tmp_path / "dunlin.csv", iso([30, 90]), [100, 99])
    state = imported(one, two, mapping="[devices.limpet]\nclock_offset_s = 40\n")
    assert rows(state) == [
        ("limpet", "reading", 0, 100),
        ("dunlin", "reading", 0.5, 100),
        ("limpet", "reading", 1, 99),
        ("dunlin", "reading", 1.5, 99),
        ("limpet", "reading", 2, 98),
    ]
    assert "40 s ahead; taken off its times" in dict(state.parts[0].facts).values()


def test_a_clock_that_is_behind_has_a_negative_offset(tmp_path):
    one = log(tmp_path / "limpet.csv", iso([0], ahead=-90), [100])
    two = log(tmp_path / "dunlin.csv", iso([0]), [100])
    state = imported(one, two, mapping="[devices.limpet]\nclock_offset_s = -90\n")
    assert [r[2] for r in rows(state)] == [0, 0]


@pytest.mark.parametrize(
    "stamps",
    [
        [EPOCH, EPOCH + 61],
        [EPOCH * 1000, (EPOCH + 61) * 1000 + 400],
        iso([0, 61], suffix="+01:00"),
        [t.replace("T08", "T07") + "Z" for t in iso([0, 61])],
        [f"{EPOCH}.0", f"{EPOCH + 61}.25"],
    ],
    ids=["epoch", "epoch ms", "offset", "Z", "epoch with decimals"],
)
def test_instants_are_told_in_the_zone_of_the_session(stamps, tmp_path):
    path = log(tmp_path / "limpet.csv", stamps, [100, 99])
    state = imported(path, mapping='[session]\ntimezone = "Europe/London"\n')
    assert rows(state) == [
        ("limpet", "reading", 0, 100),
        ("limpet", "reading", round(61 / 60, 6), 99),
    ]
    assert state.session.runs[0].start == START.replace(tzinfo=ZoneInfo("Europe/London"))
    assert "2026-05-16,08:01:01" in state.log


def test_instants_without_a_zone_are_told_in_utc(tmp_path):
    state = imported(log(tmp_path / "limpet.csv", [EPOCH, EPOCH + 60], [100, 99]))
    assert state.session.timezone == "UTC"
    assert "2026-05-16,07:00:00" in state.log


def test_wall_clocks_and_instants_need_the_zone(tmp_path):
    one = log(tmp_path / "limpet.csv", iso([0, 60]), [100, 99])
    two = log(tmp_path / "dunlin.csv", [EPOCH, EPOCH + 60], [100, 99])
    state = imported(one, two)
    assert set(open_cells(state).values()) == {"session.timezone"}
    settled = imported(one, two, mapping='[session]\ntimezone = "Europe/London"\n')
    assert [r[2] for r in rows(settled)] == [0, 0, 1, 1]


def test_a_device_that_showed_another_zone(tmp_path):
    one = log(tmp_path / "limpet.csv", iso([3600]), [99])
    two = log(tmp_path / "dunlin.csv", iso([3600]), [99])
    mapping = (
        '[session]\ntimezone = "Europe/London"\n[devices.dunlin]\ntimezone = "Europe/Lisbon"\n'
        '[devices.limpet]\ntimezone = "Europe/Paris"\n'
    )
    # 09:00 in Paris is 08:00 in London; Lisbon and London show the same
    assert rows(imported(one, two, mapping=mapping)) == [
        ("limpet", "reading", 0, 99),
        ("dunlin", "reading", 60, 99),
    ]


def test_a_night_in_which_the_clocks_go_back_is_kept_apart(tmp_path):
    first = int(dt.datetime(2026, 10, 24, 23, 30, tzinfo=dt.UTC).timestamp())
    stamps = [first + 1800 * i for i in range(6)]
    path = log(tmp_path / "limpet.csv", stamps, [100, 99, 98, 97, 96, 95])
    state = imported(path, mapping='[session]\ntimezone = "Europe/London"\n')
    # 00:30, 01:00, 01:30, then 01:00 and 01:30 again, 02:00: half an hour between each
    assert [r[2] for r in rows(state)] == [0, 30, 60, 90, 120, 150]
    assert state.log.count("2026-10-25T01:30:00") == 2


def test_past_midnight_without_a_date_goes_on(tmp_path):
    stamps = ["23:58:00", "23:59:00", "00:00:00", "00:01:00"]
    path = log(tmp_path / "limpet.csv", stamps, [50, 50, 49, 49], "clock,level")
    assert [r[2] for r in rows(imported(path))] == [0, 1, 2, 3]
    dated = imported(path, mapping="[session]\ndate = 2026-05-16\n")
    assert [r[2] for r in rows(dated)] == [0, 1, 2, 3]
    assert "2026-05-17,00:01:00" in dated.log


def test_date_and_time_may_stand_in_two_columns(tmp_path):
    path = tmp_path / "limpet.csv"
    path.write_text(
        "Date;Time;Battery %\n16.05.2026;23:59:30;50\n17.05.2026;00:00:30;49\n", encoding="utf-8"
    )
    assert [r[2] for r in rows(imported(path))] == [0, 1]


def test_a_change_is_a_tick_only_if_the_row_before_is_as_close_as_times_are_noted(tmp_path):
    fine = log(tmp_path / "limpet.csv", iso([0, 1, 2, 30, 31]), [100, 100, 99, 98, 98])
    assert [r[1] for r in rows(imported(fine))] == [
        "reading", "reading", "tick", "reading", "reading",
    ]  # fmt: skip
    coarse = log(tmp_path / "dunlin.csv", ["2026-05-16T08:00", "2026-05-16T08:01",
                                           "2026-05-16T08:03"], [100, 99, 98])  # fmt: skip
    assert [r[1] for r in rows(imported(coarse))] == ["reading", "tick", "reading"]


def test_a_log_of_changes_has_ticks_and_one_of_samples_has_none(tmp_path):
    path = log(tmp_path / "limpet.csv", iso([0, 400, 900]), [100, 99, 98])
    changes = imported(path, mapping='[units]\nlog_rows = "changes"\n')
    assert [r[1] for r in rows(changes)] == ["reading", "tick", "tick"]
    near = log(tmp_path / "dunlin.csv", iso([0, 1]), [100, 99])
    samples = imported(near, mapping='[units]\nlog_rows = "samples"\n')
    assert [r[1] for r in rows(samples)] == ["reading", "reading"]


def test_an_offset_of_times_noted_to_the_minute_does_not_make_them_finer(tmp_path):
    path = log(tmp_path / "limpet.csv", ["2026-05-16T08:00", "2026-05-16T08:10"], [100, 99])
    state = imported(path, mapping="[devices.limpet]\nclock_offset_s = 40\n")
    # 07:59:20 and 08:09:20 are nearest to 07:59 and 08:09
    assert ",07:59," in state.log
    assert ",08:09," in state.log
    assert state.session.readings["t_resolution_min"].tolist() == [1, 1]


def test_elapsed_logs_are_merged_by_what_each_counts(tmp_path):
    one = log(tmp_path / "limpet.csv", ["0:00:00", "0:10:00"], [100, 99], "elapsed,level")
    two = log(tmp_path / "dunlin.csv", [0, 5], [100, 99], "elapsed (min),level")
    assert [(r[0], r[2]) for r in rows(imported(one, two))] == [
        ("limpet", 0), ("dunlin", 0), ("dunlin", 5), ("limpet", 10),
    ]  # fmt: skip


def test_fractions_signs_and_blank_rows_of_a_log(tmp_path):
    path = log(tmp_path / "limpet.csv", iso([0, 60, 120, 180]), [1, 0.99, "", "0.98"])
    assert [r[3] for r in rows(imported(path))] == [100, 99, 98]
    signed = log(tmp_path / "dunlin.csv", iso([0, 60]), ["100%", "99 %"])
    assert [r[3] for r in rows(imported(signed))] == [100, 99]


def test_sheets_of_one_workbook_are_devices(tmp_path):
    workbook = openpyxl.Workbook()
    workbook.remove(workbook.active)
    for name, late in (("Limpet 10", 0), ("Dunlin 9", 30)):
        page = workbook.create_sheet(name)
        page.append(["Time", "Battery"])
        for i in range(3):
            page.append([START + dt.timedelta(seconds=60 * i + late), (100 - i) / 100])
            page.cell(i + 2, 2).number_format = "0%"
    workbook.save(tmp_path / "logs.xlsx")
    assert [(r[0], r[2], r[3]) for r in rows(imported(tmp_path / "logs.xlsx"))] == [
        ("Limpet 10", 0, 100), ("Dunlin 9", 0.5, 100), ("Limpet 10", 1, 99),
        ("Dunlin 9", 1.5, 99), ("Limpet 10", 2, 98), ("Dunlin 9", 2.5, 98),
    ]  # fmt: skip


def test_two_logs_of_one_device_are_told(tmp_path):
    one = log(tmp_path / "a.csv", iso([0]), [100])
    two = log(tmp_path / "b.csv", iso([0]), [100])
    state = imported(one, two, mapping='[devices.limpet]\nnames = ["a", "b.csv"]\n')
    assert wrong_rules(state) == {"import-device-twice"}


def test_a_log_goes_with_the_setup_file_of_its_folder(tmp_path):
    folder = tmp_path / "day"
    folder.mkdir()
    (folder / "session.toml").write_text(
        '[session]\ndate = 2026-05-16\nstart = "07:30"\n[[devices]]\nid = "limpet"\n'
        'label = "Limpet 10"\n[[phases]]\nid = "map"\nplanned_min = 60\n',
        encoding="utf-8",
    )
    path = log(tmp_path / "export.csv", iso([0, 60]), [100, 99])
    state = imported(path, mapping='[devices.limpet]\nnames = ["export"]\n', into=folder)
    assert [(r[0], r[2]) for r in rows(state)] == [("limpet", 30), ("limpet", 31)]
    assert state.session.readings["phase"].tolist() == ["map", "map"]
    assert state.setup == ""


@pytest.mark.slow
def test_a_hundred_thousand_rows_take_seconds_and_come_back_whole(tmp_path):
    size = 100_000
    stamps = iso(range(size))
    levels = [100 - i // 1100 for i in range(size)]
    path = log(tmp_path / "limpet.csv", stamps, levels)
    before = time.process_time()
    state = imported(path)
    spent = time.process_time() - before
    assert len(state.session.readings) == size
    # 100 − 99999 // 1100 = 100 − 90
    assert state.session.readings["soc_pct"].iloc[-1] == 10
    (tmp_path / "log.csv").write_text(state.log, encoding="utf-8")
    assert len(read_record(tmp_path / "log.csv")[0].readings) == size
    assert spent < 6, f"{spent:.1f} s of processor time"
