"""Records: named numbers that Python and the compiled model read and write alike.

A class with annotations says what there is; `blank` makes one. Numba sees a NumPy record with the same fields, so the
model reads like its equations (`engine.displacement_m3`) and costs no more than an array.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from functools import cache
from typing import Annotated, Any, TypeVar, get_args, get_origin, get_type_hints

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Kind = TypeVar("Kind")


@cache
def layout(kind: Hashable) -> np.dtype[Any]:
    """The NumPy layout of a class of annotated numbers: float, int, or Annotated[Floats, shape]."""
    fields: list[tuple[str, str, tuple[int, ...]]] = []
    for name, hint in get_type_hints(kind, include_extras=True).items():
        if get_origin(hint) is Annotated:
            shape = get_args(hint)[1]
            fields.append((name, "f8", shape if isinstance(shape, tuple) else (shape,)))
        else:
            fields.append((name, "i8" if hint is int else "f8", ()))
    return np.dtype(fields, align=True)


def blank(kind: type[Kind], **values: float | Floats) -> Kind:
    """A record of that class, zero everywhere but where a value is given."""
    fields: Any = kind
    record: Any = np.zeros(1, layout(fields)).view(np.recarray)[0]
    for name, value in values.items():
        if name not in (layout(fields).names or ()):
            raise AttributeError(f"{kind.__name__} has no {name}")
        record[name] = value
    return record  # type: ignore[no-any-return]


def copied(record: Kind, **values: float | Floats) -> Kind:
    """The same record again, some values changed."""
    whole: Any = record
    twin: Any = np.array([whole], dtype=whole.dtype).view(np.recarray)[0]
    for name, value in values.items():
        if name not in whole.dtype.names:
            raise AttributeError(f"no field {name}")
        twin[name] = value
    return twin  # type: ignore[no-any-return]


def as_mapping(record: object) -> Mapping[str, float | Floats]:
    """Every field of a record by name."""
    whole: Any = record
    return {name: np.array(whole[name]) if whole[name].ndim else whole[name].item() for name in whole.dtype.names}
