"""What a worker of a cluster does with a take: see that it is the right one, hear it within its time."""

import faulthandler
import pickle
import platform
import traceback
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from batch import __version__
from batch.cluster.heap import keep_freed
from batch.errors import TakeError
from batch.folder import LISTENING_VERSION, content_hash
from batch.garbage import look_seldom
from batch.hearers import Answer, Request, answer
from batch.listen import listen

VERSION = (__version__, LISTENING_VERSION)
"""Of the program and of its listening: both ends must agree, or takes would not be heard alike everywhere."""


@dataclass(frozen=True, slots=True)
class Unseen:
    """The take is not seen here, or another file in its place."""

    problem: str


@dataclass(frozen=True, slots=True)
class Stranger:
    """Another version of takemill is installed here."""

    version: tuple[str, int]


@dataclass(frozen=True, slots=True)
class Bug:
    """Something went wrong that should not have."""

    trace: str
    """As text: exceptions do not always survive the way, nor does what carries them."""


@dataclass(frozen=True, slots=True)
class Reply:
    """What a worker says, and the name of the machine it runs on."""

    machine: str
    said: Answer | Unseen | Stranger | Bug


def limit_s(request: Request) -> float:
    """Return how long a take may be listened to."""
    return request.asked.settings.hearing.time_limit_s


def hear(version: str, listening: int, packed: bytes) -> bytes:
    """Return the reply to a request, both pickled: the scheduler passes them on without takemill."""
    said: Answer | Unseen | Stranger | Bug = Stranger(VERSION)
    if (version, listening) == VERSION:
        try:
            said = _heard(pickle.loads(packed))
        except Exception:
            said = Bug(traceback.format_exc())
    return pickle.dumps(Reply(platform.node(), said))


def _heard(request: Request) -> Answer | Unseen:
    with _deadline(limit_s(request)):
        if unseen := _unseen(request):
            return unseen
        look_seldom()
        keep_freed()
        found = answer(listen, request)
        # Storage that went away meanwhile is no fault of the take.
        return (isinstance(found, TakeError) and _unseen(request)) or found


@contextmanager
def _deadline(limit_s: float) -> Iterator[None]:
    """End this process if it lasts longer; the nanny starts another, and the log says what it was at.

    The alarm needs no lock of the interpreter, which compiled code that hangs may hold.
    """
    faulthandler.dump_traceback_later(limit_s, exit=True)
    try:
        yield
    finally:
        faulthandler.cancel_dump_traceback_later()


def _unseen(request: Request) -> Unseen | None:
    """Return what is not here as it is where the request comes from; None if all is."""
    asked = request.asked
    for beside in (asked.tempo_map, asked.companion, asked.chart):
        if beside and not _is_file(beside):
            return Unseen(f"cannot see {beside}")
    try:
        same = content_hash(asked.path) == request.content_hash
    except TakeError as error:
        return Unseen(f"cannot see {asked.path} (it {error.problem})")
    return None if same else Unseen(f"sees another file at {asked.path}")


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except OSError:
        return False
