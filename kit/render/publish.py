"""Files put into their place all together, or not at all (`kit.revise.swap`), errors in words."""

from __future__ import annotations

from contextlib import suppress
from typing import TYPE_CHECKING

from kit.errors import RenderError
from kit.revise.swap import place_of, replace_files, unfinished

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from pathlib import Path

    from kit.revise.swap import Until

__all__ = ["publish"]


def publish(
    folder: Path,
    files: Mapping[str, bytes],
    *,
    obsolete: Iterable[str] = (),
    until: Until = "on_disk",
) -> None:
    """Write files into a folder; a failure leaves the folder as it was.

    Parameters
    ----------
    folder
        Output folder; made if it is not there.
    files
        Path relative to ``folder``, with ``/`` → content.
    obsolete
        Paths of files that go away with this, if they are there.
    until
        As `kit.revise.swap.replace_files` takes it.

    Raises
    ------
    RenderError
        If a file cannot be written or moved; it names the file. Also if another process writes
        there.
    """
    made = not folder.exists()
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        message = f"Cannot write to {folder}: {error.strerror}. Name another folder with --out."
        raise RenderError(message) from error
    try:
        replace_files(folder, files, obsolete=obsolete, until=until)
    except OSError as error:
        kept = (
            "Nor could the last report be put back whole; the next run does that first."
            if unfinished(folder)
            else "The last report is as it was."
        )
        message = (
            f"Cannot write {place_of(error, folder)}: {error.strerror}. If it is open in another "
            f"program, close it there and run again. {kept}"
        )
        raise RenderError(message) from error
    finally:
        if made:
            with suppress(OSError):  # not empty: that is the report
                folder.rmdir()
