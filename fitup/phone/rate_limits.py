"""How often somebody may ask: a bucket of tokens for each, which fills evenly."""

from __future__ import annotations

import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass

__all__ = ["Rate", "RateLimit"]

# The buckets of those who asked last are kept; a full bucket that is forgotten is full again anyhow.
_MOST_KEPT = 10_000


@dataclass(frozen=True, kw_only=True)
class Rate:
    """`burst` times at once, `per_s` times a second in the long run."""

    burst: float
    per_s: float


class RateLimit:
    """One limit, counted for each asker apart."""

    def __init__(self, rate: Rate, clock: Callable[[], float] = time.monotonic) -> None:
        self._rate = rate
        self._clock = clock
        self._buckets: OrderedDict[str, tuple[float, float]] = OrderedDict()

    def wait_s(self, asker: str) -> float:
        """Take one token of the asker: 0.0 where there was one, else the seconds until there is one."""
        now = self._clock()
        tokens, then = self._buckets.pop(asker, (self._rate.burst, now))
        tokens = min(self._rate.burst, tokens + (now - then) * self._rate.per_s)
        allowed = tokens >= 1.0
        self._buckets[asker] = (tokens - 1.0 if allowed else tokens, now)
        while len(self._buckets) > _MOST_KEPT:
            self._buckets.popitem(last=False)
        return 0.0 if allowed else (1.0 - tokens) / self._rate.per_s
