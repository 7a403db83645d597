"""What can go wrong, each with its cause and its remedy.

Every error that rootread raises on purpose is one of these, so that a caller
can tell a wall that cannot be read (``WallRefused``) from a request that makes
no sense (``BadRequest``).

>>> from rootread import read_wall
>>> try:
...     read_wall("nowhere.jpg")
... except WallRefused as error:
...     print(error.cause, "->", error.remedy)
nowhere.jpg: cannot be opened (No such file or directory). -> Check the name and that it is a file.
"""

from collections.abc import Iterable

from rootread.text import one_line

LONGEST_TEXT = 240
"""Cause and remedy may quote a cell or a file name, which may be of any length."""


class RootreadError(Exception):
    """Base of all errors raised on purpose.

    Parameters
    ----------
    cause : what is wrong and where, in words a person at the pit understands.
    remedy : what to do about it.
    """

    others: "tuple[RootreadError, ...]" = ()
    """What else was found wrong at the same time."""

    def __init__(self, cause: str, remedy: str = "") -> None:
        self.cause = one_line(cause, LONGEST_TEXT)
        self.remedy = one_line(remedy, LONGEST_TEXT)
        super().__init__(f"{self.cause} {self.remedy}".strip())

    def cause_beside(self, name: str) -> str:
        """The cause where the file's name stands beside it already.

        >>> UnreadablePhoto("a.jpg: the file is empty.").cause_beside("a.jpg")
        'The file is empty.'
        """
        rest = self.cause.removeprefix(f"{name}: ")
        return rest if rest == self.cause else rest[:1].upper() + rest[1:]


class WallRefused(RootreadError):
    """This photo cannot be read; the rest of a folder run goes on."""


class UnreadablePhoto(WallRefused):
    """The file is missing, damaged, of an unknown kind, too small or too large."""


class NoBelievableScale(WallRefused):
    """No scale object that holds up was found, so nothing in inches can be said."""


class BadRequest(RootreadError):
    """The request itself is wrong: sheet, marks, settings or command line."""


class BadSheet(BadRequest):
    """A row or cell of the field sheet cannot be understood.

    Parameters
    ----------
    cause, remedy : as of any error.
    others : what else is wrong in the same sheet, so that all of it can be mended at once.
    """

    def __init__(self, cause: str, remedy: str = "", others: Iterable[RootreadError] = ()) -> None:
        super().__init__(cause, remedy)
        self.others = tuple(others)


class BadMarks(BadRequest):
    """A marks file cannot be understood."""


class BadSettings(BadRequest):
    """A settings file names something unknown or out of range."""
