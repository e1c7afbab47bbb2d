"""News for everybody who watches: each viewer has a short queue of its own, so that a slow one never slows the others."""

from __future__ import annotations

import asyncio
import json
import threading
from collections import deque
from collections.abc import AsyncIterator, Mapping

#: News that wait for one viewer at most; older ones are dropped, and it is told how many.
WAITING = 64
#: A word is sent to a viewer at least so often [s], so that a closed connection is noticed.
HEARTBEAT = 15.0


class Viewer:
    """The queue of one viewer."""

    def __init__(self, loop: asyncio.AbstractEventLoop) -> None:
        self.loop, self.news, self.ready = loop, deque[str](maxlen=WAITING), asyncio.Event()
        self.dropped = 0

    def put(self, text: str) -> None:
        """One more piece of news, in the loop of the server."""
        if len(self.news) == WAITING:
            self.dropped += 1
        self.news.append(text)
        self.ready.set()


class Hub:
    """Where news come in, from any thread, and go out to all viewers."""

    def __init__(self) -> None:
        self._viewers: set[Viewer] = set()
        self._lock = threading.Lock()

    def __len__(self) -> int:
        """How many watch."""
        return len(self._viewers)

    def tell(self, kind: str, what: Mapping[str, object]) -> None:
        """Tell everybody; never waits for anybody."""
        text = f"event: {kind}\ndata: {json.dumps(what, ensure_ascii=False, allow_nan=False)}\n\n"
        with self._lock:
            viewers = list(self._viewers)
        for viewer in viewers:
            if not viewer.loop.is_closed():
                viewer.loop.call_soon_threadsafe(viewer.put, text)

    async def watch(self) -> AsyncIterator[str]:
        """News as they come, in the form of server-sent events (WHATWG HTML, 9.2)."""
        viewer = Viewer(asyncio.get_running_loop())
        with self._lock:
            self._viewers.add(viewer)
        try:
            yield ": watching\n\n"
            while True:
                try:
                    await asyncio.wait_for(viewer.ready.wait(), HEARTBEAT)
                except TimeoutError:
                    yield ": nothing new\n\n"
                    continue
                viewer.ready.clear()
                if viewer.dropped:
                    dropped, viewer.dropped = viewer.dropped, 0
                    yield f"event: dropped\ndata: {dropped}\n\n"
                while viewer.news:
                    yield viewer.news.popleft()
        finally:
            with self._lock:
                self._viewers.discard(viewer)
