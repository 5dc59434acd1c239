"""Where takes are heard: a small door, so that the engine need not know where, nor how many at a time."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from batch.errors import TakeError
from batch.folder import Brief
from batch.model import Analysis

Listen = Callable[[Brief, str], Analysis]
"""Turns the take of a brief, known by its content hash, into an analysis."""


@dataclass(frozen=True, slots=True)
class Request:
    """A take to hear, and the content hash by which it is known."""

    asked: Brief
    content_hash: str


Answer = Analysis | TakeError
"""What was heard, or why nothing could be."""


class Hearers(Protocol):
    """Hears takes, one or more at a time. Whoever asks keeps count of what was begun."""

    @property
    def full(self) -> bool:
        """Whether nothing more is taken on before an answer was waited for."""

    def begin(self, request: Request) -> None:
        """Take on a take; not to be called when full."""

    def wait(self) -> tuple[Request, Answer]:
        """Return the next answer, in whatever order; not to be called when nothing was begun.

        What is no TakeError is a bug, and is raised.
        """


def answer(listen: Listen, request: Request) -> Answer:
    """Return what ``listen`` makes of a take."""
    try:
        return listen(request.asked, request.content_hash)
    except TakeError as error:
        return error
