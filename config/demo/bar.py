"""One bar for the whole of a build that has steps of very different lengths."""

import shutil
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import Protocol

WIDTH = 30  # of the bar, in characters

#: Told of what is in hand: how much of the step is done, of how much, and a word.
Tell = Callable[[float, float, str], None]


class Terminal(Protocol):
    def write(self, msg: str, *, ending: str | None = None) -> object: ...

    def flush(self) -> None: ...

    def isatty(self) -> bool: ...


class Bar:
    """On a terminal one line that is drawn again and again; elsewhere a line a step.

    `shares` says of each step how long it takes against the others.
    """

    def __init__(self, say: Terminal, shares: Mapping[str, float]) -> None:
        self._say, self._shares = say, shares
        self._before = 0.0  # shares of the steps that are done
        self._began = time.monotonic()
        self._drawn = ""

    @contextmanager
    def step(self, name: str) -> Iterator[Tell]:
        began, share = time.monotonic(), self._shares[name]

        def tell(done: float, total: float, what: str = "") -> None:
            part = share * min(1.0, done / total) if total else share
            self._draw(self._before + part, f"{name} {what}".rstrip())

        tell(0, 1)
        yield tell
        tell(1, 1)
        self._before += share
        if not self._say.isatty():
            self._say.write(f"  {name}: {time.monotonic() - began:.1f} s")

    def finish(self) -> None:
        """Leaves the terminal's line, and says how long it took."""
        if self._say.isatty():
            self._say.write("")
        self._say.write(f"  Done in {time.monotonic() - self._began:.0f} s.")

    def _draw(self, shares: float, words: str) -> None:
        if not self._say.isatty():
            return
        share = shares / sum(self._shares.values())
        filled = round(WIDTH * share)
        bar = "█" * filled + "░" * (WIDTH - filled)
        room = shutil.get_terminal_size().columns - WIDTH - 12
        text = f"  {bar} {share:4.0%}  {words[:room]:{max(room, 0)}}"
        if text != self._drawn:
            self._say.write(f"\r{text}", ending="")
            self._say.flush()
            self._drawn = text
