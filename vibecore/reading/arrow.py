"""Arrow arrays to numpy by their buffers. pyarrow's own conversions import pandas, which takes longer than
reading a recording does."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from vibecore.model import Flags

_DTYPES = {"double": np.float64, "int64": np.int64, "int32": np.int32, "int8": np.int8}


def numbers(array: Any, empty: float | int) -> NDArray[Any]:
    """(n,) numpy array of an arrow array of numbers, `empty` where it is null. Memory is shared if nothing
    is."""
    if array.null_count:
        array = array.fill_null(empty)
    dtype = _DTYPES[str(array.type)]
    if not len(array):
        return np.empty(0, dtype)
    return np.frombuffer(
        array.buffers()[1], dtype, count=len(array), offset=array.offset * np.dtype(dtype).itemsize
    )


def flags(array: Any) -> Flags:
    """(n,) numpy array of an arrow array of booleans, False where it is null."""
    import pyarrow as pa

    return numbers(array.cast(pa.int8()), 0).astype(bool)


def among(text: Any, words: list[str]) -> Flags:
    """(n,) whether a text is one of these words, or missing."""
    import pyarrow as pa
    import pyarrow.compute as pc

    return flags(pc.is_in(pc.utf8_trim_whitespace(text.fill_null("")), pa.array(words)))


def mask(keep: Flags) -> Any:
    """Arrow booleans of a numpy array."""
    import pyarrow as pa

    bits = pa.py_buffer(np.packbits(keep, bitorder="little").tobytes())
    return pa.Array.from_buffers(pa.bool_(), len(keep), [None, bits])


def places(at: NDArray[np.int64]) -> Any:
    """Arrow integers of a numpy array."""
    import pyarrow as pa

    return pa.Array.from_buffers(pa.int64(), len(at), [None, pa.py_buffer(at.astype(np.int64).tobytes())])
