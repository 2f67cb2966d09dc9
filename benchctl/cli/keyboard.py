"""Lines that the operator types, without holding anything up while nobody types."""

import asyncio
import sys
import threading
from types import TracebackType
from typing import Self


class Keyboard:
    """Reads standard input in a thread. A terminal that is gone, or no input at all, is silence, not an answer."""

    def __init__(self) -> None:
        self._lines: asyncio.Queue[str | None] = asyncio.Queue()
        self._loop = asyncio.get_running_loop()

    def __enter__(self) -> Self:
        """Begin to read."""
        threading.Thread(target=self._read, name="keyboard", daemon=True).start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        """The thread ends with the process."""

    def _read(self) -> None:
        try:
            for line in sys.stdin:
                self._loop.call_soon_threadsafe(self._lines.put_nowait, line.strip())
            self._loop.call_soon_threadsafe(self._lines.put_nowait, None)
        except (OSError, ValueError, RuntimeError):  # closed under us
            return

    async def line(self) -> str | None:
        """The next line; None when no more can come, which must not be taken for Enter."""
        return await self._lines.get()
