"""The page as a file: what it holds, what it escapes, that equal sessions give equal bytes."""

from __future__ import annotations

import base64
import hashlib
import re
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from kit.cli import cli
from kit.errors import RenderError, UsageError
from kit.index.entry import Entry
from kit.index.page import COLUMNS, KINDS, index_page
from kit.index.write import write_index
from kit.render.svg import contrast
from kit.safe_text import displayable
from tests.helpers.files import HOSTILE
from tests.helpers.page_tree import Element, parsed, variables
from tests.helpers.plain_results import (
    caution,
    longest_claim,
    plain_results,
    put_report,
    revision,
    runtime,
)

FILES = ("report.html", "report.pdf")


def shown(text: str) -> str:
    return " ".join(displayable(text).split())


def body_rows(page: str) -> list[Element]:
    (body,) = parsed(page).all("tbody")
    return body.all("tr")


def cells(row: Element) -> list[str]:
    return [cell.text for cell in row.all("td", "th")]


def three_sessions(folder: Path) -> None:
    put_report(
        folder / "kelp" / "report",
        plain_results(
            revision_number=2,
            findings=[caution()],
            runtimes=[runtime("limpet", 8.0, 8.1, 2), runtime("kelpfin", 9.5, None, 1)],
            claims=[longest_claim("kelpfin", "supported", lead_low=84.0)],
            revisions=[revision(1, "first"), revision(2, "changed")],
        ),
        files=FILES,
    )
    put_report(folder / "bad" / "report", {"format": "?"}, files=FILES)
    (folder / "bare").mkdir()
    (folder / "bare" / "log.csv").write_text("event\n", encoding="utf-8")


def test_the_columns_of_a_session(tmp_path: Path) -> None:
    three_sessions(tmp_path)
    write_index([tmp_path], tmp_path / "index.html")
    page = (tmp_path / "index.html").read_text(encoding="utf-8")
    (head,) = parsed(page).all("thead")
    assert [h.text for h in head.all("th")] == [
        "Date", "Session", "Devices", "Longest runtime (h:mm)", "At a glance", "Cautions",
        "Revision", "Files",
    ]  # fmt: skip
    # 9.5 h = 9:30; 84 min = 1 h 24 min
    kelp, bad, bare = (cells(row) for row in body_rows(page))
    assert kelp == [
        "2026-05-16", "Mud flatskelp/report", "Limpet 10Kelpfin 11Dunlin 9",
        "Kelpfin 11 at least 9:30lead supported by at least 1 h 24 min",
        "Kelpfin 11 lasted longest.", "1", "2conclusion changed", "HTMLPDFJSON",
    ]  # fmt: skip
    assert bad == [
        "–", "badbad/report", "–", "–",
        "results.json cannot be read: its layout is '?'; this version reads 'rundown-results/1'.",
        "–", "–", "HTMLPDFJSON",
    ]  # fmt: skip
    assert bare == [
        "–", "barebare", "–", "–", "No report of this record, as it is now, was found.", "–", "–",
        "–",
    ]  # fmt: skip


def test_an_earlier_correction_that_changed_the_conclusion_is_not_forgotten() -> None:
    entry = Entry(title="a", revision=3, correction="conclusion stands", changed=True)
    (row,) = body_rows(index_page([entry], title="t"))
    assert cells(row)[6] == "3conclusion stands; an earlier correction changed it"
    assert "data-changed" in row.attributes


def test_the_head_counts_all_sessions(tmp_path: Path) -> None:
    three_sessions(tmp_path)
    write_index([tmp_path], tmp_path / "index.html", title="Season <2026>")
    root = parsed((tmp_path / "index.html").read_text(encoding="utf-8"))
    assert root.all("h1")[0].text == "Season <2026>"
    assert root.all("title")[0].text == "Season <2026> · Index of sessions"
    assert [e.text for e in root.all("dt", "dd")] == [
        "Sessions", "1 with a report, 1 without a report, 1 not readable",
        "Dates", "2026-05-16", "Devices", "3",
    ]  # fmt: skip


def test_it_is_a_table_that_says_what_its_parts_are(tmp_path: Path) -> None:
    three_sessions(tmp_path)
    write_index([tmp_path], tmp_path / "index.html")
    root = parsed((tmp_path / "index.html").read_text(encoding="utf-8"))
    assert root.all("html")[0].attributes["lang"] == "en-GB"
    for tag in ("header", "main", "footer", "h1", "table", "caption"):
        assert len(root.all(tag)) == 1, tag
    for row in root.all("tbody")[0].all("tr"):
        (head,) = row.all("th")
        assert (head.attributes["scope"], head.attributes["role"]) == ("row", "rowheader")
        assert len(row.all("td")) == len(COLUMNS) - 1
    labels = {label.attributes["for"] for label in root.all("label")}
    assert labels == {e.attributes["id"] for e in root.all("select", "input")}
    ids = [e.attributes["id"] for e in root.walk() if "id" in e.attributes]
    assert len(ids) == len(set(ids))


def test_without_a_script_nothing_is_offered_that_does_not_work() -> None:
    root = parsed(index_page([Entry(title="a")], title="t"))
    (find,) = [e for e in root.walk() if "find" in e.classes]
    (nothing,) = [e for e in root.walk() if "nothing" in e.classes]
    assert "hidden" in find.attributes
    assert "hidden" in nothing.attributes
    inside = {id(e) for part in (find, nothing) for e in part.walk()}
    assert all(id(e) in inside for e in root.all("button", "select", "input"))


def hostile_entries() -> list[Entry]:
    return [
        Entry(
            title=text, place=text, date=text, devices=(text, "Limpet 10"), headline=text,
            links=(("HTML", "a/report.html"),),
        )
        for text in HOSTILE
    ]  # fmt: skip


def test_hostile_texts_stay_texts() -> None:
    page = index_page(hostile_entries(), title=HOSTILE[0])
    root = parsed(page)
    for row, text in zip(body_rows(page), HOSTILE, strict=True):
        date, title, devices, _, headline, *_ = row.all("td", "th")
        assert date.text == headline.text == shown(text)
        assert title.text == shown(text) + shown(text)
        assert devices.all("li")[0].text == shown(text)
        (link,) = row.all("a")[1:]
        assert link.attributes["aria-label"] == f"HTML, {displayable(text)}"
    assert len(root.all("script")) == len(root.all("table")) == len(root.all("h1")) == 1
    assert not root.all("img")
    assert not [a for e in root.walk() for a in e.attributes if a.startswith("on")]


def test_a_link_never_runs_a_script(tmp_path: Path) -> None:
    """A folder may be called anything; its address is a path from the page, percent-encoded."""
    put_report(tmp_path / "javascript:alert(1)" / "report", plain_results(), files=FILES)
    write_index([tmp_path], tmp_path / "index.html")
    root = parsed((tmp_path / "index.html").read_text(encoding="utf-8"))
    addresses = [a.attributes["href"] for a in root.all("a")]
    assert addresses[1] == "javascript%3Aalert%281%29/report/report.html"
    assert not any(a.startswith("javascript:") for a in addresses)


def test_the_policy_allows_the_script_of_the_page_alone() -> None:
    page = index_page([Entry(title="a")], title="t")
    root = parsed(page)
    (policy,) = [
        m.attributes["content"]
        for m in root.all("meta")
        if m.attributes.get("http-equiv") == "Content-Security-Policy"
    ]
    script = root.all("script")[0].raw
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    assert f"script-src 'sha256-{digest}';" in policy
    assert policy.startswith("default-src 'none';")
    assert not re.findall(r"(?:src|href|url)\s*[=(]\s*[\"']?https?:", page)


def test_every_text_colour_meets_level_aa_in_both_themes() -> None:
    """WCAG 2.2, 1.4.3: 4.5 to 1 against the ground, that of a row that is pointed at too."""
    style = parsed(index_page([Entry(title="a")], title="t")).all("style")[0].raw
    light: dict[str, str] = {}
    dark: dict[str, str] = {}
    for at, block in re.findall(r"(dark\) \{\s*)?:root \{(.*?)\}", style, re.DOTALL):
        (dark if at else light).update(variables(block, ""))
    assert set(dark) == set(light)
    for theme in (light, dark):
        for ink in ("good", "close", "ink", "soft", "accent"):
            for ground in ("ground", "panel"):
                assert contrast(theme[ink], theme[ground]) >= 4.5, (ink, ground)
        assert contrast(theme["caution-ink"], theme["caution-ground"]) >= 4.5
    assert light["good"] != dark["good"]


def test_equal_sessions_give_equal_bytes_wherever_and_in_whatever_order_they_are_made(
    tmp_path: Path,
) -> None:
    made = []
    for place, order in (("one", (0, 1, 2)), ("two", (2, 0, 1))):
        for k in order:
            put_report(
                tmp_path / place / f"s{k}" / "report", plain_results(title=f"t{k % 2}"), files=FILES
            )
        write_index([tmp_path / place], tmp_path / place / "index.html")
        made.append((tmp_path / place / "index.html").read_bytes())
    assert made[0] == made[1]
    write_index([tmp_path / "one"], tmp_path / "one" / "index.html")
    assert (tmp_path / "one" / "index.html").read_bytes() == made[0]


def test_a_page_that_is_no_index_is_never_replaced(tmp_path: Path) -> None:
    put_report(tmp_path / "report", plain_results(), files=FILES)
    for content in (b"<html>mine</html>", b""):
        (tmp_path / "index.html").write_bytes(content)
        with pytest.raises(UsageError, match="is no index made by this kit; nothing was written"):
            write_index([tmp_path], tmp_path / "index.html")
        assert (tmp_path / "index.html").read_bytes() == content
    with pytest.raises(UsageError, match="is a folder; name a file"):
        write_index([tmp_path], tmp_path)


def test_a_failed_write_leaves_the_last_index_and_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put_report(tmp_path / "mud" / "report", plain_results())
    file = tmp_path / "index.html"
    write_index([tmp_path], file)
    before = file.read_bytes()
    put_report(tmp_path / "more" / "report", plain_results(title="more"))

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    for place in ("os.fsync", "pathlib.Path.replace"):
        with monkeypatch.context() as patch:
            patch.setattr(place, full)
            with pytest.raises(RenderError, match="No space left on device") as caught:
                write_index([tmp_path], file)
        assert str(file) in str(caught.value)
        assert file.read_bytes() == before
        assert sorted(p.name for p in tmp_path.iterdir()) == ["index.html", "more", "mud"]
    write_index([tmp_path], file)
    assert file.read_bytes() != before


def test_the_command_makes_the_page_and_says_what_it_lists(tmp_path: Path) -> None:
    three_sessions(tmp_path)
    done = CliRunner().invoke(cli, ["index", str(tmp_path)])
    assert done.exit_code == 0, done.output
    assert "Sessions: 1 with a report, 1 without a report, 1 not readable." in done.output
    assert "! bad/report: results.json cannot be read: its layout is '?'" in done.output
    assert str(tmp_path / "index.html") in done.output
    assert (tmp_path / "index.html").is_file()


def test_the_command_is_quiet_when_asked_and_takes_title_and_place(tmp_path: Path) -> None:
    three_sessions(tmp_path)
    out = tmp_path / "pages" / "all.html"
    done = CliRunner().invoke(
        cli, ["index", str(tmp_path / "kelp"), str(tmp_path / "bad"), "-o", str(out), "-q",
              "--title", "Two"],
    )  # fmt: skip
    assert (done.exit_code, done.output) == (0, "")
    page = out.read_text(encoding="utf-8")
    assert "<h1>Two</h1>" in page
    assert 'href="../kelp/report/report.html"' in page
    assert len(body_rows(page)) == 2


def test_a_folder_without_sessions_is_wrong_use(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="no report and no record in"):
        write_index([tmp_path], tmp_path / "index.html")
    assert list(tmp_path.iterdir()) == []
    shutil.rmtree(tmp_path)
    assert CliRunner().invoke(cli, ["index", str(tmp_path)]).exit_code == 2


def test_what_can_be_shown_alone_is_known_to_the_script() -> None:
    script = parsed(index_page([Entry(title="a")], title="t")).all("script")[0].raw
    block = script.split("const SHOWN = {")[1].split("};")[0]
    known = re.findall(r"^    (\"\"|[a-z]+):", block, re.MULTILINE)
    assert [name.strip('"') for name in known] == [value for value, _ in KINDS]
