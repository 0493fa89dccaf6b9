"""Work on many children, a batch at a time, on all processors."""

import os
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context
from typing import TypeVar

from rehab.errors import RehabError
from rehab.settings import Settings
from rehab.workflow import Desk, open_desk

CHILDREN_AT_ONCE = 50
# Below this, starting more processes takes longer than the work itself.
WORTH_PROCESSES = 500
BATCHES_WAITING = 4

Numbers = tuple[str, ...]
Task = TypeVar("Task")
Result = TypeVar("Result")
Work = Callable[[Desk, Numbers, Task], Result]


def in_batches(
    desk: Desk,
    numbers: Sequence[str],
    work: Work[Task, Result],
    task: Task,
    processes: int | None = None,
) -> Iterator[Result]:
    """What `work` makes of each batch, in whatever order they are done.

    `work` is a function of a module, and `task` can be sent to another process. `processes` are
    as many as there are processors, and none for few children. Raises RehabError when one of them
    is ended from outside.
    """
    batches = deque(
        tuple(numbers[start : start + CHILDREN_AT_ONCE])
        for start in range(0, len(numbers), CHILDREN_AT_ONCE)
    )
    wanted = processes or os.cpu_count() or 1
    if wanted == 1 or (processes is None and len(numbers) < WORTH_PROCESSES):
        yield from (work(desk, batch, task) for batch in batches)
        return
    try:
        yield from _everywhere(desk.settings, batches, work, task, wanted)
    except BrokenProcessPool:
        raise RehabError(
            "one of the processes that work was ended from outside.",
            do="What was written is kept. Run the same command again: it goes on from there.",
        ) from None


def _everywhere(
    settings: Settings,
    batches: deque[Numbers],
    work: Work[Task, Result],
    task: Task,
    processes: int,
) -> Iterator[Result]:
    running: set[Future[Result]] = set()
    with ProcessPoolExecutor(
        processes, get_context("spawn"), initializer=_open_here, initargs=(settings,)
    ) as pool:
        while batches or running:
            while batches and len(running) < processes * BATCHES_WAITING:
                running.add(pool.submit(_in_process, batches.popleft(), work, task))
            done, running = wait(running, return_when=FIRST_COMPLETED)
            yield from (future.result() for future in done)


_desk_here: list[Desk] = []


def _open_here(settings: Settings) -> None:
    _desk_here.append(open_desk(settings))


def _in_process(numbers: Numbers, work: Work[Task, Result], task: Task) -> Result:
    return work(_desk_here[0], numbers, task)
