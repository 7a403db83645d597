"""Work shared out among the processor's cores, where it is done by libraries that let other threads run.

As many threads are used as OpenCV uses: one where several walls are read at once.
"""

from collections import deque
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from contextvars import copy_context
from functools import lru_cache
from typing import Any, TypeVar, cast

import cv2

Part = TypeVar("Part")
Result = TypeVar("Result")
Other = TypeVar("Other")


def share_out(work: Callable[[Part], Result], parts: Iterable[Part]) -> list[Result]:
    """``work(part)`` of every part, in their order; of errors, the first in that order is raised.

    No more threads run than there are cores. The caller takes from the front and never waits for a helper
    that has not begun, so that ``work`` may share out further; helpers take from the back, and are free
    for that once they are done. Where parts differ, the longest goes to the front.
    """
    waiting = deque(enumerate(parts))
    count = len(waiting)
    done: dict[int, Result] = {}
    failed: dict[int, Exception] = {}

    def take(next_part: Callable[[], tuple[int, Part]]) -> None:
        while waiting:
            try:
                number, part = next_part()
            except IndexError:  # Another thread was faster.
                return
            try:
                done[number] = work(part)
            except Exception as error:
                failed[number] = error

    threads = min(cv2.getNumThreads(), count)
    # The unit in which sentences state lengths goes along to the other threads.
    helpers = [
        _helpers(cv2.getNumThreads()).submit(copy_context().run, take, waiting.pop) for _ in range(1, threads)
    ]
    try:
        take(waiting.popleft)
    finally:
        waiting.clear()
        for helper in helpers:
            if not helper.cancel():
                helper.result()
    if failed:
        raise failed[min(failed)]
    return [done[number] for number in range(count)]


def both(work: Callable[[], Result], other: Callable[[], Other]) -> tuple[Result, Other]:
    """``work()`` and ``other()`` at the same time, the longer one first; of errors, the first is raised."""
    calls: list[Callable[[], Result | Other]] = [work, other]
    first, second = share_out(lambda call: call(), calls)
    return cast(Result, first), cast(Other, second)


def begun(work: Callable[[], Result]) -> Callable[[], Result]:
    """``work()`` begun beside what the caller does next, where a core is free for it.

    A call of what is returned waits for the result, or does the work itself where no thread
    has begun it. To be called once at most; an error of ``work`` is raised there.
    """
    threads = cv2.getNumThreads()
    if threads < 2:
        return work
    helper = _helpers(threads).submit(copy_context().run, work)
    return lambda: work() if helper.cancel() else helper.result()


@lru_cache(maxsize=1)
def _helpers(threads: int) -> ThreadPoolExecutor:
    """The threads beside the caller's: few and lasting, since each keeps some memory for itself."""
    return ThreadPoolExecutor(threads - 1, thread_name_prefix="rootread")


def open_network(weights: bytes) -> Any:
    """An onnxruntime session of a network's file; onnxruntime is loaded when it is first called for."""
    import onnxruntime

    options = onnxruntime.SessionOptions()
    options.log_severity_level = 3
    # Pieces of a picture go to the cores side by side, each to one: that leaves no core waiting.
    options.intra_op_num_threads = 1
    # Every wall is another size, and a plan of memory kept for each is memory lost.
    options.enable_mem_pattern = False
    # Memory of its own would be fresh memory; the common one has what pictures before it left.
    options.enable_cpu_mem_arena = False
    return onnxruntime.InferenceSession(weights, options, providers=["CPUExecutionProvider"])
