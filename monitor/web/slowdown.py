"""Slows down whoever guesses at the password: an address for itself, and all addresses together.

Nobody is shut out for good, and the table is bounded: a flood of addresses forgets the oldest, while the pace
for all together stays. Time is an argument [s of a clock that never steps].
"""

import ipaddress
from collections import OrderedDict, deque
from typing import NamedTuple

FREE_TRIES = 3
"""A person mistypes."""
LONGEST_WAIT_S = 900.0
FORGOTTEN_AFTER_S = 3600.0
ADDRESSES_AT_MOST = 1024
TOGETHER_AT_MOST = 20
"""So many failures of all addresses in the window, then tries are spaced."""
TOGETHER_WINDOW_S = 600.0
TOGETHER_WAIT_S = 5.0


class _Failures(NamedTuple):
    times: int
    last_at_s: float


class Slowdown:
    """Failures so far, and how long the next try has to wait; not thread-safe: the page's one thread asks."""

    def __init__(self) -> None:
        self._by_address: OrderedDict[str, _Failures] = OrderedDict()
        self._together: deque[float] = deque(maxlen=TOGETHER_AT_MOST)

    def wait_s(self, address: str, now_s: float) -> float:
        """How long this address must still wait before it may try; 0 for now [s]."""
        return max(self._own_wait_s(network_of(address), now_s), self._together_wait_s(now_s), 0.0)

    def failed(self, address: str, now_s: float) -> None:
        """A try went wrong."""
        network = network_of(address)
        known = self._by_address.pop(network, _Failures(0, now_s))
        count = 0 if now_s - known.last_at_s > FORGOTTEN_AFTER_S else known.times
        self._by_address[network] = _Failures(count + 1, now_s)
        while len(self._by_address) > ADDRESSES_AT_MOST:
            self._by_address.popitem(last=False)
        self._together.append(now_s)

    def succeeded(self, address: str) -> None:
        """The right password was given."""
        self._by_address.pop(network_of(address), None)

    def _own_wait_s(self, network: str, now_s: float) -> float:
        known = self._by_address.get(network)
        if known is None or known.times < FREE_TRIES or now_s - known.last_at_s > FORGOTTEN_AFTER_S:
            return 0.0
        wait_s = min(LONGEST_WAIT_S, 2.0 ** (known.times - FREE_TRIES + 1))
        return known.last_at_s + wait_s - now_s

    def _together_wait_s(self, now_s: float) -> float:
        is_many = len(self._together) == TOGETHER_AT_MOST
        if not is_many or now_s - self._together[0] > TOGETHER_WINDOW_S:
            return 0.0
        return self._together[-1] + TOGETHER_WAIT_S - now_s


def network_of(address: str) -> str:
    """What counts as one address: an IPv4 address, or the /64 that one IPv6 connection usually has."""
    try:
        ip = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address[:64]
    if isinstance(ip, ipaddress.IPv6Address):
        if ip.ipv4_mapped is not None:
            return str(ip.ipv4_mapped)
        return str(ipaddress.ip_network((ip, 64), strict=False))
    return str(ip)
