"""Where the web server listens: on the loopback interface only."""

import ipaddress
import socket

TRIES = 20


def loopback(host: str) -> str:
    """The host as an address of the loopback interface. Raises ValueError for any other."""
    try:
        address = ipaddress.ip_address("127.0.0.1" if host == "localhost" else host)
    except ValueError:
        address = None
    if address is None or not address.is_loopback:
        raise ValueError(f"--host: {host} is not on the loopback interface; give 127.0.0.1, ::1 or localhost")
    return str(address)


def listen(host: str, port: int) -> socket.socket:
    """A listening socket on `port`, or on the next of 20 ports that is free.

    Browsers can connect from now on; they wait until the web server takes the socket over.
    Raises ValueError where `port` cannot be one, OSError where none is free.
    """
    if not 1 <= port <= 65535:
        raise ValueError(f"--port: {port} is no port; give one from 1 to 65535")
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    last = min(port + TRIES, 65535)
    for candidate in range(port, last + 1):
        try:
            return socket.create_server((host, candidate), family=family, backlog=128)
        except OSError:
            continue
    raise OSError(f"no port from {port} to {last} is free on {host}")


def url(listener: socket.socket) -> str:
    """What to type into a browser."""
    host, port = listener.getsockname()[:2]
    return f"http://[{host}]:{port}/" if ":" in host else f"http://{host}:{port}/"
