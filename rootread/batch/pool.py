"""Walls read one after the other, or by several processes."""

import multiprocessing
import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Executor, Future, ProcessPoolExecutor, wait
from contextlib import contextmanager

import cv2

from rootread.batch.plan import WallJob
from rootread.batch.record import Record
from rootread.errors import BadRequest
from rootread.memory import keep_freed_memory

Read = Callable[[WallJob], Record]
Done = tuple[int, Record]
"""Place of a wall in the plan, and its record."""

AHEAD = 2
"""Walls handed out for each process: one in work, one in waiting."""


def read_here(read: Read, jobs: Sequence[WallJob], workers: int, give_up: Read) -> Iterator[Done]:
    """Records as they come. A wall that ends its process is given up by ``give_up``; the others go on."""
    left = dict(enumerate(jobs))
    if workers <= 1 or len(left) <= 1:
        yield from ((index, read(job)) for index, job in left.items())
        return
    while left:
        with _processes(min(workers, len(left))) as pool:
            begun: list[int] = []
            try:
                yield from _handed_out(pool, read, left, AHEAD * workers, begun)
                return
            except BrokenExecutor:
                suspects = [index for index in begun if index in left]
        for index in suspects:
            yield index, _alone(read, left.pop(index), give_up)


def _alone(read: Read, job: WallJob, give_up: Read) -> Record:
    """A wall that may have ended its process, in one of its own."""
    with _processes(1) as pool:
        try:
            return pool.submit(read, job).result()
        except BrokenExecutor:
            return give_up(job)


@contextmanager
def _processes(number: int) -> Iterator[ProcessPoolExecutor]:
    # Fresh processes: a forked copy of OpenCV's threads can wait forever on a lock nobody holds.
    fresh = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(number, mp_context=fresh, initializer=_begin) as pool:
        try:
            pool.submit(one_thread).result()
        except BrokenExecutor as error:
            raise BadRequest(
                "The processes that are to read walls do not start.",
                "In a script, call grade_walls under: if __name__ == '__main__'. Or use one worker.",
            ) from error
        yield pool


def _begin() -> None:
    # Ctrl+C reaches every process of a terminal: these end without a word, the first one says what is kept.
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    one_thread()
    keep_freed_memory()


def one_thread() -> None:
    """Processes share the cores already; threads in each would only contend."""
    cv2.setNumThreads(1)


def _handed_out(
    pool: Executor, read: Read, left: dict[int, WallJob], ahead: int, begun: list[int]
) -> Iterator[Done]:
    """Hand out the walls that are left, never many ahead, and take off what is done."""
    todo = list(left)
    waiting: dict[Future[Record], int] = {}
    while todo or waiting:
        while todo and len(waiting) < ahead:
            index = todo.pop(0)
            begun.append(index)
            waiting[pool.submit(read, left[index])] = index
        for future in wait(waiting, return_when=FIRST_COMPLETED).done:
            record = future.result()
            index = waiting.pop(future)
            del left[index]
            yield index, record
