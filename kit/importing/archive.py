"""The parts of a spreadsheet file, unpacked with a bound and without any document type.

An XLSX or ODS file is a ZIP archive of XML parts. Nothing of it is handed to a parser before
it was unpacked here: never more than ``LARGEST_UNPACKED`` in all, whatever the archive says of its
size, and only parts in plain UTF-8 that declare no entities. What the reader of cells gets is a
fresh archive of exactly these parts.
"""

from __future__ import annotations

import io
import re
import zipfile
import zlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["LARGEST_UNPACKED", "RefusedError", "repacked", "unpacked"]

LARGEST_UNPACKED = 256 * 2**20
"""More than a million rows of a log need (bytes)."""

MOST_PARTS = 5_000
MOST_FOLD = 1_000
"""Deflate packs at most 1032-fold (zlib technical notes, from memory)."""
SMALL = 2**20
"""A part that unpacks to less is never a bomb."""

DECLARED = re.compile(rb"""<\?xml[^>]{0,200}encoding\s*=\s*["']([A-Za-z0-9._-]+)["']""")
WANTED = (".xml", ".rels")


class RefusedError(Exception):
    """A file that is not read: what it is, what was expected, what to do."""

    def __init__(self, *, rule: str, found: str, expected: str, remedy: str) -> None:
        self.rule, self.found, self.expected, self.remedy = rule, found, expected, remedy
        super().__init__(found)


def _broken(what: str) -> RefusedError:
    return RefusedError(
        rule="import-broken",
        found=what,
        expected="a whole XLSX or ODS file",
        remedy="Fetch or save the file again; it may have been cut short on the way.",
    )


def unpacked(data: bytes) -> dict[str, bytes]:
    """Return the XML parts of a spreadsheet file, name → bytes.

    Raises
    ------
    RefusedError
        If the archive is broken or encrypted, would unpack to too much, or has a part that
        declares a document type or is not in UTF-8.
    """
    parts: dict[str, bytes] = {}
    total = 0
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            infos = archive.infolist()
            if len(infos) > MOST_PARTS:
                raise _bomb(what=f"an archive of {len(infos)} parts")
            for info in infos:
                if not info.filename.endswith(WANTED) and info.filename != "mimetype":
                    continue
                if info.flag_bits & 1:
                    raise _locked()
                part = _part(archive, info, LARGEST_UNPACKED - total)
                total += len(part)
                parts[info.filename.lstrip("/")] = part
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, ValueError) as error:
        raise _broken(what=f"an archive that cannot be unpacked ({error})") from error
    except RuntimeError as error:  # a packing method that zipfile knows by name only
        raise _broken(what="an archive packed by a method that spreadsheets do not use") from error
    for name, part in parts.items():
        _plain_xml(name, part)
    return parts


def _part(archive: zipfile.ZipFile, info: zipfile.ZipInfo, room: int) -> bytes:
    fold = info.file_size / max(info.compress_size, 1)
    if info.file_size > room or (info.file_size > SMALL and fold > MOST_FOLD):
        raise _bomb(what=f"a part {info.filename!r} that would unpack to {info.file_size} bytes")
    with archive.open(info) as stream:
        part = stream.read(room + 1)
    if len(part) > room:
        raise _bomb(what=f"a part {info.filename!r} that unpacks to more than it says")
    return part


def _bomb(what: str) -> RefusedError:
    return RefusedError(
        rule="import-too-large",
        found=what,
        expected=f"a file that unpacks to at most {LARGEST_UNPACKED // 2**20} MiB",
        remedy="Save the sheet with the readings alone in a file of its own, or as CSV.",
    )


def _locked() -> RefusedError:
    return RefusedError(
        rule="import-locked",
        found="a file that is protected by a password",
        expected="a file that can be read",
        remedy="Save it again without a password.",
    )


def _plain_xml(name: str, part: bytes) -> None:
    """Refuse document types, entities and encodings in which they could hide."""
    if name == "mimetype":
        return
    declared = DECLARED.match(part.removeprefix(b"\xef\xbb\xbf")[:300])
    encoding = declared[1].lower() if declared else b"utf-8"
    if encoding not in (b"utf-8", b"utf8", b"us-ascii", b"ascii") or b"\0" in part[:4]:
        raise _broken(what=f"a part {name!r} that is not in UTF-8")
    if b"<!DOCTYPE" in part or b"<!ENTITY" in part:
        raise RefusedError(
            rule="import-entities",
            found=f"a part {name!r} that declares a document type or entities",
            expected="a spreadsheet as a spreadsheet program saves it (they declare none)",
            remedy="Do not open the file; ask where it came from.",
        )


def repacked(parts: Mapping[str, bytes]) -> io.BytesIO:
    """Return a fresh archive of these parts, not compressed."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_STORED) as archive:
        for name, part in parts.items():
            archive.writestr(zipfile.ZipInfo(name), part)
    stream.seek(0)
    return stream
