"""The files of a record: which are read, and those that cannot be."""

from pathlib import Path

import pytest

from kit.errors import RecordError, UsageError
from kit.read.record import read_record
from tests.helpers.records import LOG, written


@pytest.mark.parametrize("setup", ['[session]\ntitle = "Mud\n', "[session]\ntitle = '\udcfc'\n"])
def test_a_setup_file_that_cannot_be_read_is_told_alone(tmp_path, setup):
    """What the log would lack stands in it, unread: faults of the log would only mislead."""
    (tmp_path / "log.csv").write_text(LOG.lstrip(), encoding="utf-8")
    (tmp_path / "session.toml").write_bytes(setup.encode("utf-8", "surrogateescape"))
    with pytest.raises(RecordError) as caught:
        read_record(tmp_path)
    assert [(f.file, f.line) for f in caught.value.findings] == [("session.toml", 2)]


def test_the_log_in_a_folder(tmp_path: Path):
    log = "event,note\nnote,x\n"
    with pytest.raises(UsageError, match=r"no log\.csv and no other CSV file"):
        read_record(tmp_path)
    written(tmp_path, log, None, "a.csv")
    assert read_record(tmp_path)[0].sources[0].name == "a.csv"
    written(tmp_path, log, None, "b.csv")
    with pytest.raises(UsageError, match=r"'a\.csv', 'b\.csv'"):
        read_record(tmp_path)
    written(tmp_path, log, '[session]\nlog = "b.csv"\n', "c.csv")
    session, findings = read_record(tmp_path)
    assert [s.name for s in session.sources] == ["session.toml", "b.csv"]
    assert session.id == tmp_path.name
    assert [f.rule for f in findings] == ["operator-note"]
    # one that was asked for by name is read with the setup file
    session, findings = read_record(tmp_path / "a.csv")
    assert [s.name for s in session.sources] == ["session.toml", "a.csv"]
    assert ("log-other", "note") in [(f.rule, f.severity) for f in findings]
    # and so is the folder when the setup file is asked for
    assert read_record(str(tmp_path / "session.toml"))[0].sources[1].name == "b.csv"


@pytest.mark.parametrize("name", ["c.csv", "../x.csv", "sub/x.csv"])
def test_a_log_that_is_not_in_the_folder(tmp_path: Path, name):
    written(tmp_path, "event,note\nnote,x\n", f'[session]\nlog = "{name}"\n', "a.csv")
    with pytest.raises(RecordError) as caught:
        read_record(tmp_path)
    (found,) = caught.value.findings
    assert (found.rule, found.file, found.column) == ("log-missing", "session.toml", "session.log")
    assert found.line == 2


@pytest.mark.parametrize("path", ["no such place", "x\0y", "y" * 5000])
def test_a_path_that_is_nowhere(path):
    with pytest.raises(UsageError, match="there is no file or folder"):
        read_record(path)


def test_a_file_that_cannot_be_read(tmp_path: Path):
    (tmp_path / "session.toml").write_text('[session]\nlog = "log.csv"\n')
    (tmp_path / "log.csv").mkdir()
    with pytest.raises(RecordError, match=r"log\.csv"):
        read_record(tmp_path)


def test_a_file_that_the_system_does_not_give(tmp_path: Path, monkeypatch):
    def refuse(_):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "read_bytes", refuse)
    with pytest.raises(UsageError, match=r"'.*log\.csv' cannot be read: Permission denied"):
        read_record(written(tmp_path, "event,note\nnote,x\n", None, "log.csv"))


def test_the_sources_are_fingerprinted(tmp_path: Path):
    import hashlib

    log = "event,note\nnote,x\n"
    session, _ = read_record(written(tmp_path, log, "", "log.csv"))
    assert session.sources[1].sha256 == hashlib.sha256(log.encode()).hexdigest()
    assert session.sources[1].size == len(log)
    both = hashlib.sha256(b"").hexdigest() + hashlib.sha256(log.encode()).hexdigest()
    assert session.fingerprint == hashlib.sha256(both.encode()).hexdigest()[:12]
