"""What a message is.

The tree of everything this package raises on purpose::

    DaublineError
    ├── InputError (also a ValueError)      bad input: a person can mend it
    │   └── TooFewReadings                  not enough to say anything honest
    └── MissingExtra (also an ImportError)  an optional library is not there

What was coped with instead of refused is an `InputWarning`, one sentence each.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path


class DaublineError(Exception):
    """Root of every error raised on purpose."""


class InputError(DaublineError, ValueError):
    """Bad input, given in one sentence that says where and what to do.

    Parameters
    ----------
    what : str
        What came and what is allowed.
    file : path, optional
        The file it came from.
    place : str, optional
        Row, column, key or byte, in words: ``"row 14, column radius_in"``.
    cure : str, optional
        What to do about it.
    """

    def __init__(
        self,
        what: str,
        *,
        file: str | Path | None = None,
        place: str | None = None,
        cure: str | None = None,
    ) -> None:
        self.what = what
        self.file = None if file is None else str(file)
        self.place = place
        self.cure = cure
        super().__init__(self._sentence())

    def _sentence(self) -> str:
        where = ", ".join(part for part in (self.file, self.place) if part)
        text = f"{where}: {self.what}" if where else self.what
        text = _ended(text)
        return f"{text} {_ended(self.cure)}" if self.cure else text

    def at(
        self, *, file: str | Path | None = None, place: str | None = None
    ) -> InputError:
        """The same message, with a file or place filled in where it had none."""
        return type(self)(
            self.what,
            file=self.file if self.file is not None else file,
            place=self.place if self.place is not None else place,
            cure=self.cure,
        )


def _ended(text: str) -> str:
    """With the point at its end, unless it asks."""
    return text if text.endswith(("?", "!")) else text.rstrip(".") + "."


#: What is done about a fault: raise it, or keep it and go on to the next.
Report = Callable[[InputError], None]


def raise_fault(fault: InputError) -> None:
    """Raise a fault: what is done about it unless all of them are asked for."""
    raise fault


class InputWarning(UserWarning):
    """Input that was read though it is not written as documented: where, and as what.

    Also what was left out of it.
    """


def warn_coped(
    what: str, *, file: str | Path | None = None, place: str | None = None
) -> None:
    """Say in one `InputWarning` what was coped with, and where it stands."""
    coped = InputWarning(str(InputError(what, file=file, place=place)))
    warnings.warn(coped, stacklevel=3)


@contextmanager
def errors_at(
    *, file: str | Path | None = None, place: str | None = None
) -> Iterator[None]:
    """Fill in file or place of an `InputError` raised inside, where it has none."""
    try:
        yield
    except InputError as fault:
        raise fault.at(file=file, place=place) from fault


class TooFewReadings(InputError):
    """Not enough readings to model a wall; the message says how many are needed."""


class MissingExtra(DaublineError, ImportError):
    """A library that only some users need is not installed.

    Parameters
    ----------
    library : str
        The import that failed.
    extra : str
        The extra of this package that brings it.
    """

    def __init__(self, library: str, extra: str) -> None:
        self.library = library
        self.extra = extra
        super().__init__(
            f"{library} is not installed. "
            f"Install it with: pip install 'daubline[{extra}]'"
        )

    def __reduce__(self) -> tuple[type[MissingExtra], tuple[str, str]]:
        """What another process makes it again from."""
        return type(self), (self.library, self.extra)


class TerminatedError(KeyboardInterrupt):
    """The process was asked to end: what is half done is cleared, as for Ctrl-C."""


def not_permitted(fault: PermissionError) -> InputError:
    """What another user's file or folder is refused with."""
    what = f"it cannot be opened ({fault.strerror or fault})"
    cure = "Check who may read and write it, and the folders it lies in"
    return InputError(what, file=fault.filename, cure=cure)
