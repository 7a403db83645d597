"""Walls read by the workers of a Dask cluster, on as many machines as there are."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from itertools import islice
from typing import Any

from rootread.batch.plan import WallJob
from rootread.batch.pool import Done, Read, one_thread
from rootread.errors import BadRequest

REACH_S = 20
"""Seconds to reach the cluster, and for its first worker to come."""
AHEAD = 1_000
"""Walls handed out at a time: enough for any cluster, few enough for its scheduler to be quick."""


def read_far(read: Read, jobs: Sequence[WallJob], address: str, give_up: Read) -> Iterator[Done]:
    """Records as they come; what a lost worker had begun, another does.

    A wall over which several workers were lost is given up by ``give_up``.

    Raises
    ------
    BadRequest : the cluster cannot be reached or has no workers, or Dask is not installed.
    """
    with _client(address) as client:
        # Imported here: it is an extra, and the client has told by now if it is not there.
        from distributed import KilledWorker, as_completed

        client.register_worker_callbacks(one_thread)
        todo = iter(enumerate(jobs))
        place: dict[Any, int] = {}
        arriving = as_completed([], loop=client.loop)
        while True:
            for index, job in islice(todo, AHEAD - len(place)):
                future = client.submit(read, job, pure=False)
                place[future] = index
                arriving.add(future)
            if not place:
                return
            future = next(arriving)
            index = place.pop(future)
            try:
                record = future.result()
            except KilledWorker:
                record = give_up(jobs[index])
            yield index, record


@contextmanager
def _client(address: str) -> Iterator[Any]:
    try:
        from distributed import Client
    except ImportError as error:
        raise BadRequest("Dask is not installed.", "Run: pip install 'rootread[cluster]'") from error
    try:
        client = Client(address, timeout=REACH_S, set_as_default=False)
    except (OSError, ValueError) as error:
        raise BadRequest(
            f"No cluster answers at {address} ({error}).",
            "Start one: dask scheduler; then on each machine: dask worker ADDRESS --nthreads 1",
        ) from error
    with client:
        try:
            client.wait_for_workers(1, timeout=REACH_S)
        except TimeoutError as error:
            raise BadRequest(
                f"The cluster at {address} has no workers.",
                "On each machine: dask worker ADDRESS --nthreads 1",
            ) from error
        yield client
