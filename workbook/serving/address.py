"""Where the workbook is served: port, names by which it may be asked, and the secret.

An archive keeps its address, so that a page goes on after the server was started again, and a
tablet need not scan twice. The file that remembers it can be read by its owner alone.
"""

from __future__ import annotations

import contextlib
import hashlib
import hmac
import io
import json
import os
import secrets
import signal
import socket
from dataclasses import dataclass
from pathlib import Path

from matchlib.atomic import written_whole
from matchlib.errors import FileError

__all__ = ["ENDING", "Address", "claim"]

ENDING = tuple(
    getattr(signal, name) for name in ("SIGTERM", "SIGHUP", "SIGINT") if hasattr(signal, name)
)
"""Signals that end the server and all that it started."""


_LOOPBACK = "127.0.0.1"
# Documentation's own network (RFC 5737): a datagram socket "connected" to it sends nothing, and
# has the address that this machine has in its network.
_ELSEWHERE = ("192.0.2.1", 9)


@dataclass(frozen=True, slots=True)
class Address:
    """A port that is listened to, and who may ask there.

    `sockets`: bound and listening. `port`: on which is listened. `secret`: what lets a browser in.
    `shared`: whether other machines of the network can reach it. `hosts`: names that a request may
    be addressed to, the one told to others last.
    """

    sockets: tuple[socket.socket, ...]
    port: int
    secret: str
    shared: bool
    hosts: tuple[str, ...]

    @property
    def local(self) -> str:
        """Where this machine's own browser finds it, without the secret."""
        return f"http://{_LOOPBACK}:{self.port}/"

    @property
    def announced(self) -> str:
        """Address with the secret: of the network if it is shared."""
        return f"http://{self.hosts[-1]}:{self.port}/?token={self.secret}"

    def derive(self, purpose: str) -> bytes:
        """Return a key that changes with the secret and does not give it away."""
        return hmac.digest(self.secret.encode(), purpose.encode(), "sha256")

    def code(self, *, svg: bool = False) -> str:
        """Return the told address as a code to scan.

        `svg`: as a picture; else as text for a terminal.
        """
        import segno

        made = segno.make(self.announced, error="m", micro=False)
        if svg:
            return str(made.svg_inline(scale=8, border=4, light="#fff"))
        out = io.StringIO()
        made.terminal(out=out, border=2, compact=True)
        return out.getvalue()

    def close(self) -> None:
        """Stop listening."""
        for one in self.sockets:
            one.close()


def claim(archive: str, *, port: int = 0, share: bool = False, renew: bool = False) -> Address:
    """Listen on an archive's port.

    `port`: 0 takes the one the archive had before, or a free one. `share`: whether the network may
    reach it; else only this machine.
    """
    from tornado.netutil import bind_sockets

    place = _memory(archive)
    known = _recall(place)
    secret = "" if renew else str(known.get("secret", ""))
    if len(secret) < 32:
        secret = secrets.token_hex(16)
    before = known.get("port", 0)
    tries = [port] if port else [before, 0] if isinstance(before, int) else [0]
    interface = "0.0.0.0" if share else _LOOPBACK  # noqa: S104  asked for by the user
    for number in tries:
        try:
            sockets = bind_sockets(number, interface, family=socket.AF_INET)
            break
        except (OSError, OverflowError) as error:
            problem = error
    else:
        raise FileError(
            f"Port {port} cannot be had: {getattr(problem, 'strerror', problem)}.",
            expected="a port that nothing else listens to",
            remedy="close the workbook that is open there, or leave --port out to take a free one.",
        ) from problem
    names = (_LOOPBACK, "localhost", *(_network_names() if share else (_LOOPBACK,)))
    taken = int(sockets[0].getsockname()[1])
    address = Address(tuple(sockets), taken, secret, share, names)
    _remember(place, {"secret": secret, "port": taken})
    return address


def _network_names() -> tuple[str, ...]:
    found = [socket.gethostname(), f"{socket.gethostname()}.local"]
    with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.connect(_ELSEWHERE)
        found.append(probe.getsockname()[0])
    return tuple(name.lower() for name in found)


def _memory(archive: str) -> Path:
    import platformdirs

    named = archive if "://" in archive else os.path.realpath(archive)
    name = hashlib.sha256(named.encode()).hexdigest()[:32]
    return Path(platformdirs.user_data_dir("candy-panel-workbook")) / "addresses" / f"{name}.json"


def _recall(place: Path) -> dict[str, object]:
    try:
        found = json.loads(place.read_text("utf-8"))
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}


def _remember(place: Path, what: dict[str, object]) -> None:
    # Where it cannot be kept, the address holds as long as the server runs.
    with contextlib.suppress(OSError, FileError):
        place.parent.mkdir(parents=True, exist_ok=True)
        with written_whole(place) as part:
            part.touch(0o600)
            part.write_text(json.dumps(what), "utf-8")
