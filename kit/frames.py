"""The frames of results, all made here: columns in, a frame with its columns in order out.

``pandas.DataFrame`` looks through every column to learn its type, and gathers columns of one type
one by one. Here the type of a column is taken from its array, or from the types of its values where
they are all the same, and columns of one type are handed over together. The frames are those that
``pandas.DataFrame`` would have made; without that search the frames of an ordinary session that a
table of a season reads take a tenth less time (0.4 of 4 ms, pandas 3.1).
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np

from kit.results import RESULT_COLUMNS

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import pandas as pd
    from numpy.typing import NDArray

    Values = NDArray[Any] | Sequence[object]

__all__ = ["frame_of_rows", "no_rows", "result_frame"]

_ONE_TYPE = ({float}, {int}, {bool})
"""Types of values that make an array of their own type."""


def result_frame(name: str, columns: Mapping[str, Values]) -> pd.DataFrame:
    """Return columns as a frame of results.

    Parameters
    ----------
    name
        Of the frame, in ``kit.results.RESULT_COLUMNS``.
    columns
        Every column of the frame, in any order: arrays or lists, all of one length. Others are
        left out.

    Returns
    -------
    DataFrame
        Columns ``RESULT_COLUMNS[name]``, of the types that ``pandas.DataFrame`` gives them: an
        array its own, texts ``str``, an empty list ``float64``. Nothing of it is shared with
        ``columns``.

    Raises
    ------
    ValueError
        If the columns are not of one length.
    KeyError
        If one is missing.

    Examples
    --------
    >>> mixes = result_frame("mix_parts", {"share": [0.75, 0.25], "activity": ["map", "film"],
    ...                                    "mix": np.array(["day", "day"], dtype=object)})
    >>> mixes.to_dict("list")
    {'mix': ['day', 'day'], 'activity': ['map', 'film'], 'share': [0.75, 0.25]}
    """
    import pandas as pd

    try:
        from pandas.api.internals import (  # type: ignore[import-not-found]  # not in the stubs
            create_dataframe_from_blocks,
        )
    except ImportError:  # pandas before 3.0
        return pd.DataFrame({column: columns[column] for column in RESULT_COLUMNS[name]})
    arrays = [_typed(columns[column]) for column in RESULT_COLUMNS[name]]
    if len({len(array) for array in arrays}) > 1:
        lengths = {n: len(columns[n]) for n in RESULT_COLUMNS[name]}
        msg = f"columns of {name} differ in length: {lengths}"
        raise ValueError(msg)
    blocks: list[tuple[Any, NDArray[np.intp]]] = []
    of_type: dict[object, list[int]] = {}
    for place, array in enumerate(arrays):
        if isinstance(array, np.ndarray):
            of_type.setdefault(array.dtype, []).append(place)
        else:
            blocks.append((array, np.array([place])))
    for places in of_type.values():
        blocks.append((np.array([arrays[place] for place in places]), np.array(places)))
    index = pd.RangeIndex(len(arrays[0]))
    made: pd.DataFrame = create_dataframe_from_blocks(blocks, index, _columns(name).view())
    return made


def frame_of_rows(name: str, rows: Sequence[Sequence[object]]) -> pd.DataFrame:
    """Return rows as a frame of results; without rows every column is ``float64``.

    Parameters
    ----------
    name
        As for `result_frame`.
    rows
        Values in the order of ``RESULT_COLUMNS[name]``.

    Examples
    --------
    >>> frame_of_rows("mix_parts", [("day", "map", 0.75)]).to_dict("list")
    {'mix': ['day'], 'activity': ['map'], 'share': [0.75]}
    """
    columns = RESULT_COLUMNS[name]
    cells = zip(*rows, strict=True) if rows else [()] * len(columns)
    return result_frame(name, dict(zip(columns, cells, strict=True)))


def no_rows(name: str) -> pd.DataFrame:
    """Return a frame of results without rows, every column of type ``object``."""
    nothing = np.empty(0, dtype=object)
    return result_frame(name, dict.fromkeys(RESULT_COLUMNS[name], nothing))


@cache
def _columns(name: str) -> pd.Index:
    from pandas import Index

    return Index(list(RESULT_COLUMNS[name]))


@cache
def _text() -> pd.StringDtype:
    """Return the type that pandas gives to a column of texts."""
    from pandas import StringDtype

    return StringDtype(na_value=np.nan)


def _typed(values: Values) -> Any:
    """Return a column as an array of the type that ``pandas.DataFrame`` would give it."""
    import pandas as pd

    if isinstance(values, np.ndarray):
        if values.dtype.kind in "fib":
            return values
        types, numeric = set(map(type, values.tolist())), False
    else:
        types, numeric = set(map(type, values)), True
    if types == {str}:
        return pd.array(values, dtype=_text())  # type: ignore[arg-type]  # stubs know no dtype made once
    if numeric and (not types or types in _ONE_TYPE):
        return np.array(values)
    found = pd.Series(values)  # type: ignore[arg-type]  # any sequence; its type is found here
    return found.to_numpy() if isinstance(found.dtype, np.dtype) else found.array
