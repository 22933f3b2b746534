"""How often one address may try something in a while."""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable
from ipaddress import IPv6Address, ip_address, ip_network

from starlette.requests import Request

MOST_ADDRESSES = 10_000
"""Addresses that are remembered; the one that was heard of longest ago is forgotten first."""


MOST_FAILED, MOST_TRIED, WITHIN_S = 20, 60, 300.0
"""Failed tries to sign in, and tries at all, from one address in a while. Common practice, no
source: a whole ward may come through one address at the change of shift."""
NETWORK = 64
"""Bits of an IPv6 address that tell one machine from another: it chooses the others as it likes
(RFC 4291, section 2.5.1: the interface identifier has 64)."""


def address_of(request: Request) -> str:
    """Whose try it is: the address that a request came from, of IPv6 its network."""
    host = request.client.host if request.client else ""
    try:
        at = ip_address(host.partition("%")[0])
    except ValueError:
        return host[:64]
    if isinstance(at, IPv6Address):
        own = at.ipv4_mapped
        return str(own or ip_network((at, NETWORK), strict=False).network_address)
    return str(at)


class Tries:
    """Counts the tries of each address: `most` of them within `within` seconds, no more.

    It stands beside the lockout of each person, which the trail keeps: this one slows down whoever
    tries many people, and costs the trail nothing.
    """

    def __init__(
        self, most: int, within: float, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self.most = most
        self.within = within
        self._clock = clock
        self._known: dict[str, deque[float]] = {}

    def wait(self, address: str) -> int:
        """How many whole seconds an address has to wait before its next try; 0 for none."""
        kept = self._of(address)
        if len(kept) < self.most:
            return 0
        return max(1, round(kept[0] + self.within - self._clock()))

    def count(self, address: str) -> None:
        """Count a try."""
        kept = self._of(address)
        kept.append(self._clock())
        self._known[address] = kept
        while len(self._known) > MOST_ADDRESSES:
            del self._known[next(iter(self._known))]

    def _of(self, address: str) -> deque[float]:
        kept = self._known.pop(address, deque())
        while kept and kept[0] <= self._clock() - self.within:
            kept.popleft()
        if kept:
            self._known[address] = kept
        return kept
