"""Long work beside the pages: in a thread of its own, with its progress, to be stopped at any time."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

Out = TypeVar("Out")


class Stopped(Exception):
    """The work was called off; nothing of it is kept."""


@dataclass
class Work:
    """One piece of long work: `share` of it that is done, 0 to 1."""

    what: str
    share: float = 0.0
    called_off: bool = False

    def progress(self, share: float) -> None:
        """To be called by the work now and then; raises Stopped where it was called off."""
        if self.called_off:
            raise Stopped(self.what)
        self.share = min(max(share, 0.0), 1.0)

    def call_off(self) -> None:
        """Stop the work at the next moment it looks up."""
        self.called_off = True

    async def carry_out(self, act: Callable[[Callable[[float], None]], Out]) -> Out:
        """Do it in a thread; the page stays alive meanwhile."""
        return await asyncio.to_thread(act, self.progress)
