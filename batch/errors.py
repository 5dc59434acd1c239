"""What can go wrong with a user's files, each with the way out in its message."""

from pathlib import Path


class BatchError(Exception):
    """Something a user can mend. The message says what is wrong and what to do."""


class SettingsError(BatchError):
    """The command line or a settings file asks for something impossible."""


class UnfitError(BatchError):
    """A kind of recording cannot carry what is asked for; that is nobody's mistake, and is said once."""


class TakeError(BatchError):
    """One take cannot be heard. The other takes go on.

    Parameters
    ----------
    path : Path
        The take.
    problem : str
        What is wrong with it, in a few words.
    remedy : str
        What the player can do about it.
    """

    def __init__(self, path: Path, problem: str, remedy: str) -> None:
        self.path = path
        self.problem = problem
        self.remedy = remedy
        super().__init__(f"{problem}; {remedy}")

    def __reduce__(self) -> tuple[type["TakeError"], tuple[Path, str, str]]:
        """Return how to make it again: it travels between processes."""
        return type(self), (self.path, self.problem, self.remedy)


class LaterError(TakeError):
    """Nothing is wrong with the take: where it was to be heard failed, or it changed meanwhile.

    It is left waiting, and taken up again by the next run or the next look of a watcher.
    """
