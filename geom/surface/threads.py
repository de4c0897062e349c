"""How many threads linear algebra may use."""

from __future__ import annotations

from collections.abc import Callable
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
