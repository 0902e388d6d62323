"""Packed pictures by file: those used last at hand, the others put by on the disk."""

from __future__ import annotations

import pickle
from collections import OrderedDict
from contextlib import suppress

from grouper.sight.plate import ShelvedPlate
from grouper.spool import Spool


class Shelf:
    """Gives back what it was given, or has lost it; ``None`` stands for a picture that is none.

    What the disk does not take, or give back, is lost and must be looked at anew.
    """

    def __init__(self, at_hand: int) -> None:
        self._most = at_hand
        self._at_hand: OrderedDict[str, ShelvedPlate | None] = OrderedDict()
        self._put_by: dict[str, int] = {}
        self._spool = Spool()

    def __contains__(self, file: str) -> bool:
        return file in self._at_hand or file in self._put_by

    def put(self, file: str, plate: ShelvedPlate | None) -> None:
        """Keep a picture; the one that was not used longest makes room."""
        self._at_hand[file] = plate
        self._at_hand.move_to_end(file)
        while len(self._at_hand) > self._most:
            oldest, resting = self._at_hand.popitem(last=False)
            if oldest not in self._put_by and not self._spool.is_refused:
                # Nobody else writes into the spool, so what it gives back may be unpickled.
                self._put_by[oldest] = self._spool.put(pickle.dumps(resting, protocol=5))

    def get(self, file: str) -> ShelvedPlate | None:
        """A picture that is kept.

        Raises:
            KeyError: it is not, or was lost.
        """
        if file not in self._at_hand:
            number = self._put_by[file]
            with suppress(OSError):
                self.put(file, pickle.loads(self._spool.get(number)))
        self._at_hand.move_to_end(file)
        return self._at_hand[file]
