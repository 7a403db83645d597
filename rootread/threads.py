"""Work shared out among the processor's cores, where it is done by libraries that let other threads run.

As many threads are used as OpenCV uses: one where several walls are read at once.
"""

from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from contextvars import copy_context
from typing import TypeVar

import cv2

Part = TypeVar("Part")
Other = TypeVar("Other")
Result = TypeVar("Result")


def share_out(work: Callable[[Part], Result], parts: Iterable[Part]) -> list[Result]:
    """``work(part)`` of every part, in their order; the first error of them, in that order, is raised."""
    threads = cv2.getNumThreads()
    if threads < 2:
        return [work(part) for part in parts]
    with ThreadPoolExecutor(threads) as pool:
        # The unit in which sentences state lengths goes along to the other thread.
        waiting = [pool.submit(copy_context().run, work, part) for part in parts]
        return [done.result() for done in waiting]


def both(work: Callable[[], Result], other: Callable[[], Other]) -> tuple[Result, Other]:
    """``work()`` and ``other()`` at the same time; where both fail, the first one's error is raised."""
    if cv2.getNumThreads() < 2:
        return work(), other()
    with ThreadPoolExecutor(1) as pool:
        waiting = pool.submit(copy_context().run, other)
        done = work()
        return done, waiting.result()
