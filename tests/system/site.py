"""A copy of a shipped site on free ports, so that tests do not meet each other."""

import re
import socket
from contextlib import ExitStack
from pathlib import Path

from benchctl.files import DiskShelf


def site_on_free_ports(folder: Path, name: str = "northquay") -> Path:
    """Write the site's file into a folder with every port replaced by one that is free now."""
    text = DiskShelf().open("site", name).text
    ports = sorted(set(re.findall(r"127\.0\.0\.1:(\d+)", text)))
    with ExitStack() as held:
        for port in ports:
            probe = held.enter_context(socket.socket())
            probe.bind(("127.0.0.1", 0))
            text = text.replace(f"127.0.0.1:{port}", f"127.0.0.1:{probe.getsockname()[1]}")
    path = folder / f"{name}-here.yaml"
    path.write_text(text, encoding="utf-8")
    return path
