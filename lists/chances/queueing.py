"""Like benches or machines served in order of arrival, over many days at once.

For each day the minutes at which the servers are next free are kept in rising order. Whoever comes next in line
begins at the first of them, or when he is there himself; then that minute gives way to the one at which the server is
free again. That is the recursion of J. Kiefer and J. Wolfowitz (On the theory of queues with many servers, Trans.
Amer. Math. Soc. 78, 1955, 1–18; from memory). It does not say which of the servers serves: that makes no difference.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from lists.chances.noise import FloatArray
from lists.plans.calendars import Spans

Days: TypeAlias = slice | NDArray[np.intp]

ALL = slice(None)


class Places:
    """Servers that are closed at times, so that it matters which of them serves.

    Args:
        free_at_min: from when each is free [min], at least one.
        closed: when each cannot be used; what begins by then as planned, is finished, however long it takes.
        days: how many days run side by side.
    """

    __slots__ = ("_closed", "_free")

    def __init__(self, free_at_min: Sequence[float], closed: Sequence[Spans], days: int) -> None:
        self._free: FloatArray = np.repeat(np.array(free_at_min, dtype=np.float64)[:, np.newaxis], days, axis=1)
        self._closed = closed

    def begins(
        self, there_min: FloatArray, minutes: float, days: Days = ALL, place: int | None = None
    ) -> tuple[FloatArray, NDArray[np.intp]]:
        """When the next in line begins, and where: at the place that is given, else where it is soonest.

        Args:
            there_min: when he is there [min], for each of these days.
            minutes: how long it should take: so long the place must not be closed [min].
            days: which days; each once.
            place: which of them.
        """
        places = range(len(self._free)) if place is None else (place,)
        begins = np.array([self._first(one, np.maximum(there_min, self._free[one, days]), minutes) for one in places])
        soonest = begins.argmin(axis=0)
        return begins.min(axis=0), np.array(places)[soonest]

    def take(self, until_min: FloatArray, days: Days = ALL, places: NDArray[np.intp] | None = None) -> None:
        """Let those be busy until then [min], on these days.

        Raises:
            ValueError: it is not said which.
        """
        if places is None:
            raise ValueError("Cannot serve anyone: no place is given, must be one for each day.")
        self._free[places, np.arange(self._free.shape[1])[days]] = until_min

    def _first(self, place: int, earliest_min: FloatArray, minutes: float) -> FloatArray:
        begins = earliest_min
        for start, end in self._closed[place] if minutes else ():
            begins = np.where((begins < end) & (begins + minutes > start), end, begins)
        return begins


class Servers:
    """Servers of one kind; which of them serves is not told, for all are alike.

    Args:
        free_at_min: from when each is free [min], at least one.
        days: how many days run side by side.

    Raises:
        ValueError: there is no server.
    """

    __slots__ = ("_free",)

    def __init__(self, free_at_min: Sequence[float], days: int) -> None:
        if not free_at_min:
            raise ValueError("Cannot serve anyone: there are 0 servers, must be at least 1.")
        free = np.sort(np.array(free_at_min, dtype=np.float64))
        self._free: FloatArray = np.repeat(free[:, np.newaxis], days, axis=1)

    def free_min(self, days: Days = ALL) -> FloatArray:
        """When the first of them is free [min], for each of these days."""
        return self._free[0, days]

    def begins(
        self, there_min: FloatArray, minutes: float, days: Days = ALL, place: int | None = None
    ) -> tuple[FloatArray, None]:
        """When the next in line begins [min]; how long it should take and where makes no difference here."""
        del minutes, place
        return np.maximum(there_min, self.free_min(days)), None

    def take(self, until_min: FloatArray, days: Days = ALL, places: NDArray[np.intp] | None = None) -> None:
        """Let the first that is free be busy until then [min], on these days.

        Args:
            until_min: end for each of these days, not before it was free.
            days: which days; each once.
            places: makes no difference here.
        """
        del places
        last = until_min
        for later in range(1, len(self._free)):
            other = self._free[later, days]
            self._free[later - 1, days], last = np.minimum(other, last), np.maximum(other, last)
        self._free[-1, days] = last

    def serve(self, there_min: FloatArray, takes_min: FloatArray, days: Days = ALL) -> FloatArray:
        """Serve the next in line.

        Args:
            there_min: when he is there [min], for each of these days.
            takes_min: how long he is served [min].
            days: which days; each once.

        Returns:
            When he begins to be served [min].
        """
        begins = np.maximum(there_min, self.free_min(days))
        self.take(begins + takes_min, days)
        return begins
