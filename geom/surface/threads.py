"""How many threads linear algebra may use."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import wraps
from typing import ParamSpec, TypeVar

#: Readings from which more than one thread pays: below it threads mostly wait for each
#: other, and on a busy machine take several times as long.
LARGE = 601

P = ParamSpec("P")
R = TypeVar("R")


def on_one_thread_when_small(
    size: Callable[P, int],
) -> Callable[[Callable[P, R]], Callable[P, R]]:
    """Let a function's linear algebra run on one thread for a small survey.

    Parameters
    ----------
    size : callable
        From the function's arguments, the number of readings.
    """

    def decorate(function: Callable[P, R]) -> Callable[P, R]:
        @wraps(function)
        def limited(*args: P.args, **kwargs: P.kwargs) -> R:
            from threadpoolctl import threadpool_limits

            threads = 1 if size(*args, **kwargs) < LARGE else None
            with threadpool_limits(threads, user_api="blas"):
                return function(*args, **kwargs)

        return limited

    return decorate


#: Entries of a table from which its matrix products pay for more than one thread.
BIG = 4_000_000


@contextmanager
def all_threads_for(entries: int) -> Iterator[None]:
    """Let linear algebra use every processor within, if the table is a big one."""
    from threadpoolctl import threadpool_limits

    if entries < BIG:
        yield
        return
    with threadpool_limits(os.cpu_count(), user_api="blas"):
        yield
