"""The workers of a cluster: who is there, and which take each is at, one at a time."""

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, field
from queue import Empty, SimpleQueue
from threading import Lock
from time import monotonic
from typing import TYPE_CHECKING

from batch.cluster.outpost import limit_s
from batch.hearers import Request

if TYPE_CHECKING:
    from batch.cluster.wire import Sent, Wire


@dataclass(eq=False, slots=True)
class Errand:
    """A take on its way, and what it met."""

    request: Request
    died_on: list[str] = field(default_factory=list)
    """The machines whose worker died of it."""
    unseen: dict[str, str] = field(default_factory=dict)
    """What workers say that do not see it, by address."""


@dataclass(eq=False, slots=True)
class Post:
    """A worker: where it is, its door, and what it is at."""

    address: str
    door: "Sent"
    idle: bool = True
    useless: bool = False
    errand: Errand | None = None
    sent: "Sent | None" = None
    since_s: float = 0.0

    @property
    def host(self) -> str:
        """Return the machine of ``tcp://10.0.0.7:40123``."""
        return self.address.rpartition("://")[2].rpartition(":")[0]

    @property
    def at_it_s(self) -> float:
        """Return how long ago its last take was sent, in seconds."""
        return monotonic() - self.since_s

    def take(self, errand: Errand, sent: "Sent") -> None:
        """Be at a take."""
        self.idle, self.errand, self.sent, self.since_s = False, errand, sent, monotonic()

    def leave(self) -> Errand | None:
        """Be at nothing; return what it was at. What was sent is wanted no more."""
        errand, sent = self.errand, self.sent
        self.errand = self.sent = None
        if sent:
            sent.release()
        return errand


Back = tuple[Post, Errand, bytes | Exception]
"""A worker, the take that it was at, and what came back."""


class Posts:
    """Sends takes to whichever worker is idle; those that come in between wait here.

    A worker gets its next take in the thread that fetched what came of its last one: it need not wait
    until whoever collects the answers has time, and takes no answer with it that it has when it dies.
    """

    def __init__(self, wire: "Wire") -> None:
        self._wire = wire
        self._lock = Lock()
        self._posts: dict[str, Post] = {}
        self._waiting: deque[Errand] = deque()
        self._back: SimpleQueue[Back] = SimpleQueue()

    @property
    def useful(self) -> list[Post]:
        """The workers that may be given takes."""
        return [post for post in self._posts.values() if not post.useless]

    @property
    def useless(self) -> list[Post]:
        """The workers that are there, but may not."""
        return [post for post in self._posts.values() if post.useless]

    def send(self, errand: Errand) -> None:
        """Send a take when a worker is free for it; one that was sent before comes first."""
        with self._lock:
            if errand.died_on or errand.unseen:
                self._waiting.appendleft(errand)
            else:
                self._waiting.append(errand)
        self._hand_out()

    def next_back(self, timeout_s: float) -> Back | None:
        """Return the next take that came back from its worker, however it went; None if none does in time."""
        try:
            return self._back.get(timeout=timeout_s)
        except Empty:
            return None

    def meet(self, addresses: Iterable[str]) -> list[tuple[Post, Errand]]:
        """Note who is there now; return those who went, with the takes they were at."""
        here = set(addresses)
        with self._lock:
            gone = [self._posts.pop(address) for address in self._posts.keys() - here]
            for address in here - self._posts.keys():
                self._posts[address] = Post(address, self._wire.door(address))
        self._hand_out()
        return _left(gone)

    def forget(self, post: Post) -> None:
        """Take a worker for gone, until it is met again."""
        with self._lock:
            if self._posts.get(post.address) is post:
                del self._posts[post.address]

    def dismiss(self, post: Post) -> None:
        """Give a worker no more takes."""
        with self._lock:
            post.idle, post.useless = False, True

    def take_from_holders(self, limits: float) -> list[tuple[Post, Errand]]:
        """Dismiss the workers that keep a take for so many of its time limits; return them with the takes."""
        with self._lock:
            held = [
                post for post in self._posts.values() if post.errand and _holds(post, post.errand, limits)
            ]
            for post in held:
                post.useless = True
            return _left(held)

    def take_unseen(self) -> list[Errand]:
        """Return the waiting takes that no worker sees, and keep them no more."""
        here = {post.address for post in self.useful}
        with self._lock:
            unseen = [errand for errand in self._waiting if here and here <= errand.unseen.keys()]
            for errand in unseen:
                self._waiting.remove(errand)
        return unseen

    def _hand_out(self) -> None:
        with self._lock:
            for post in self._posts.values():
                if post.idle and (errand := self._next_for(post)):
                    post.take(errand, self._send(post, errand))
                    self._waiting.remove(errand)

    def _next_for(self, post: Post) -> Errand | None:
        return next((errand for errand in self._waiting if post.address not in errand.unseen), None)

    def _send(self, post: Post, errand: Errand) -> "Sent":
        def then(sent: "Sent", found: bytes | Exception) -> None:
            self._came_back(post, errand, sent, found)

        return self._wire.send(post.address, post.door, errand.request, then)

    def _came_back(self, post: Post, errand: Errand, sent: "Sent", found: bytes | Exception) -> None:
        with self._lock:
            if post.sent is not sent:
                return  # it was taken for lost
            post.leave()
            post.idle = isinstance(found, bytes)
        self._back.put((post, errand, found))
        self._hand_out()


def _left(posts: Iterable[Post]) -> list[tuple[Post, Errand]]:
    return [(post, errand) for post in posts if (errand := post.leave())]


def _holds(post: Post, errand: Errand, limits: float) -> bool:
    return post.at_it_s >= limits * limit_s(errand.request)
