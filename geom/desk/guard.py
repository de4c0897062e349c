"""Who may speak with the desk: pages that it sent itself, to the address it stands at.

A browser on the same machine visits other people's pages too.  Such a page can send
requests here; it cannot choose their ``Origin``.  And it can give its own name the
address of this machine; but the browser then still says that name as ``Host``.

References
----------
RFC 9110, section 7.2 (Host); RFC 6454, section 7 (Origin).
"""

from __future__ import annotations

import ipaddress
from collections.abc import Mapping
from dataclasses import dataclass

#: Bytes of a body past which nothing more is read: a thousand readings and more.
LARGEST = 512 * 1024


@dataclass(frozen=True)
class Guard:
    """What is asked of every request.

    Attributes
    ----------
    host : str
        The desk stands at, as it was named.
    port : int
    """

    host: str
    port: int

    @property
    def local(self) -> bool:
        """Whether only this machine can reach the desk."""
        return is_loopback(self.host)

    def refusal(
        self, method: str, headers: Mapping[str, str]
    ) -> tuple[int, str] | None:
        """Status and words of a request that is not answered; None of a good one.

        Parameters
        ----------
        method : str
        headers : mapping of str
            By their names in small letters.
        """
        host = headers.get("host", "")
        kind = headers.get("content-type", "").split(";")[0].strip()
        site = headers.get("sec-fetch-site", "same-origin")
        length = headers.get("content-length", "0")
        if not self._is_ours(host):
            return 421, "this desk has another name"
        if method in ("GET", "HEAD"):
            return None
        if headers.get("origin") != f"http://{host}" or site != "same-origin":
            return 403, "only a page that this desk sent may write into its sheet"
        if kind != "application/json":
            return 415, "readings are sent as JSON"
        if not (length.isascii() and length.isdigit()) or int(length[:12]) > LARGEST:
            return 413, "too much at once"
        return None

    def _is_ours(self, host: str) -> bool:
        """Whether a Host header says the address the desk stands at."""
        name, colon, port = host.rpartition(":")
        if not colon or not port.isdigit():
            name, port = host, "80"  # which a browser leaves out
        name = name.strip("[]").lower()
        if port != str(self.port):
            return False
        if self.local:
            return name == "localhost" or is_loopback(name)
        # No name but the one given can be somebody else's that was bent to here; an
        # address is nobody's name.
        return name == self.host.lower() or _is_address(name)


def is_loopback(host: str) -> bool:
    """Whether a host is this machine and nothing else.

    Examples
    --------
    >>> is_loopback("127.0.0.1"), is_loopback("localhost"), is_loopback("0.0.0.0")
    (True, True, False)
    """
    if host.lower() == "localhost":
        return True
    return _is_address(host) and ipaddress.ip_address(host).is_loopback


def _is_address(host: str) -> bool:
    try:
        ipaddress.ip_address(host)
    except ValueError:
        return False
    return True
