"""What every screen of ours does alike: one widget, no traceback for anybody, the terminal given back."""

import asyncio
import threading
from typing import Any

from textual.app import App
from textual.driver import Driver

GIVE_BACK_S = 2.0


class Screened(App[int]):
    """fault: what ended the screen, if it did not end by itself."""

    def __init__(self) -> None:
        super().__init__()
        self.fault: Exception | None = None

    @property
    def loop(self) -> asyncio.AbstractEventLoop:
        """The loop in which all of it lives."""
        return asyncio.get_running_loop()

    @property
    def driver(self) -> Driver | None:
        """What reads and writes the terminal."""
        return self._driver

    def ask_to_leave(self) -> None:
        """Ctrl-C, from outside: here nothing is asked."""
        self.exit(0)

    def give_back(self) -> None:
        """Wait until the terminal has had all that was drawn and is as it was: only then others may write there."""
        if self._driver is not None:
            closing = threading.Thread(target=self._driver.close, daemon=True)  # a terminal may take nothing any more
            closing.start()
            closing.join(GIVE_BACK_S)

    def _handle_exception(self, error: Exception) -> None:
        """Whatever the screen did not catch ends it; whoever started it tells why, and where the load stands."""
        self.fault = self.fault or error
        super()._handle_exception(error)

    def _fatal_error(self) -> None:
        """Textual would print a traceback with the values of all variables."""
        self._close_messages_no_wait()

    def panic(self, *_renderables: Any) -> None:
        """A thread of Textual's has failed; it hands over a traceback, which no user is shown."""
        self.fault = self.fault or RuntimeError("the terminal cannot be read")
        self._close_messages_no_wait()
