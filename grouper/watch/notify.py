"""Words to the service manager, where one asked for them (sd_notify(3)): ready, alive, ending."""

from __future__ import annotations

import os
import socket


def tell_manager(*words: str) -> bool:
    """Tell the service manager, such as ``READY=1``; whether there is one that listens."""
    address = os.environ.get("NOTIFY_SOCKET", "")
    if not address or address[0] not in "/@":
        return False
    if address[0] == "@":  # an abstract socket of Linux (unix(7))
        address = "\0" + address[1:]
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as speaker:
            speaker.connect(address)
            speaker.sendall("\n".join(words).encode())
    except OSError:
        return False
    return True
