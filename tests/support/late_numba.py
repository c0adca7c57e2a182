"""A library's compiled functions, each compiled when it is first called and not all when it is imported.

Of those that librosa compiles as it is imported, for ten seconds, the estimator of the tests calls two.
"""

from __future__ import annotations

from contextlib import contextmanager
from functools import cached_property
from typing import TYPE_CHECKING, Any
from unittest.mock import patch

import numba

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator


class _Late:
    """A function over arrays that is compiled at its first call."""

    def __init__(self, compiled: Callable[[], Callable[..., Any]]) -> None:
        self._how = compiled

    @cached_property
    def _compiled(self) -> Callable[..., Any]:
        return self._how()

    def __call__(self, *arrays: Any, **options: Any) -> Any:
        return self._compiled(*arrays, **options)


@contextmanager
def compiled_late() -> Iterator[None]:
    """What is imported in this block has its functions over arrays compiled late."""
    now: Any = numba.guvectorize

    def late(*types: Any, **options: Any) -> Callable[[Callable[..., Any]], _Late]:
        return lambda function: _Late(lambda: now(*types, **options)(function))

    with patch.object(numba, "guvectorize", late):
        yield
