"""What all formulas share: numbers or arrays in, the same shape out, NaN passes, nothing warns.

An input for which the relation has no answer (a negative absolute pressure, an engine that does not turn)
gives NaN or an infinity in its own place and leaves its neighbours alone: a recording with one bad sample
stays usable.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any, ParamSpec, TypeAlias

import numpy as np
from numpy.typing import NDArray

Floats: TypeAlias = NDArray[np.float64]

Value: TypeAlias = float | Floats
"""What a formula takes: one number, or an array; all arguments are broadcast together."""

Result: TypeAlias = Any
"""What a formula gives: a float where all arguments were single numbers, else a Floats. The type language
cannot say "an array if any argument is one" without two more signatures per formula, hence Any, as NumPy's
own functions."""

P = ParamSpec("P")


def _as_number(given: object) -> object:
    """As float64, so that division by zero and roots of negatives follow the rules of arrays."""
    if given is None or isinstance(given, str):
        return given
    array = np.asarray(given, dtype=np.float64)
    return array[()] if array.ndim == 0 else array


def formula(function: Callable[P, Result]) -> Callable[P, Result]:
    """Make a formula written for arrays accept numbers, sequences and arrays alike, silently."""

    @wraps(function)
    def evaluated(*args: P.args, **kwargs: P.kwargs) -> Result:
        numbers = [_as_number(a) for a in args]
        named = {name: _as_number(a) for name, a in kwargs.items()}
        with np.errstate(all="ignore"):
            answer = np.asarray(function(*numbers, **named), dtype=np.float64)  # type: ignore[arg-type]
        return float(answer) if answer.ndim == 0 else answer

    return evaluated
