"""The last few things that were worked out, kept so that nobody waits for them twice."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Generic, TypeVar

__all__ = ["Kept"]

T = TypeVar("T")


class Kept(Generic[T]):
    """At most so many, the one that was not asked for longest goes first; for all threads."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._things: OrderedDict[Hashable, T] = OrderedDict()
        self._lock = threading.Lock()

    def get(self, key: Hashable, make: Callable[[], T]) -> T:
        """What is kept under `key`, made where nothing is; two who ask at once may both make it."""
        with self._lock:
            if key in self._things:
                self._things.move_to_end(key)
                return self._things[key]
        made = make()
        with self._lock:
            self._things[key] = made
            while len(self._things) > self._most:
                self._things.popitem(last=False)
        return made
