"""A table that fills itself as it is asked, and stays small whatever it is asked."""

from collections.abc import Callable, Hashable
from typing import Generic, TypeVar

K = TypeVar("K", bound=Hashable)
V = TypeVar("V")


class BoundedCache(dict[K, V], Generic[K, V]):
    """A dictionary that works out what it does not have, and forgets all when it is full.

    A real meter shows a handful of different states; a broken one could show them all.
    """

    def __init__(self, work_out: Callable[[K], V], most: int = 1024) -> None:
        self._work_out = work_out
        self._most = most

    def __missing__(self, key: K) -> V:
        if len(self) >= self._most:
            self.clear()
        value = self[key] = self._work_out(key)
        return value
