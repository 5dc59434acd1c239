"""Takes heard on many machines: the workers of a Dask cluster, one take at a time on each.

Each take is sent to one worker, which has no other of ours: when that worker is gone it is
known which take it was at. Only the side that asks writes files and the catalogue.
"""

import math
import pickle
from collections import deque
from collections.abc import Callable
from time import monotonic
from typing import Self

from batch.cluster.outpost import VERSION, Bug, Reply, Stranger, Unseen, limit_s
from batch.cluster.posts import Back, Errand, Post, Posts
from batch.cluster.wire import LostError, Wire, check_address
from batch.errors import BatchError, LaterError, TakeError
from batch.hearers import Answer, Request
from batch.model import Analysis

LOOK_S = 1.0
"""How often it is looked who is there: a worker that is gone is noticed as late."""
NOBODY_S = 30.0
"""How long there may be no worker: one that died is there again after some seconds (our choice)."""
MOST_DEATHS = 3
"""Workers that may die of a take: the fault may be one machine's, hardly that of three (our choice)."""
HOLDS = 2.0
"""Of its time limit, how long a worker that lives may keep a take. It ends itself at the limit, but another
client's take may be before it, or it is paused for want of memory."""
AHEAD = 2
"""Takes in the air for each worker: one that it is at, one read and ready here."""


class Cluster:
    """Hears takes on the workers of the scheduler at ``address``; follows those that come and go.

    The scheduler is sought when the first take comes. ``say`` is told, once each, what should be
    mended on a machine while others go on.

    Raises
    ------
    BatchError
        If the address is none, or what speaks to clusters is not installed; later, if there is no
        scheduler, or no worker that can be used.
    """

    def __init__(self, address: str, say: Callable[[str], None]) -> None:
        check_address(address)
        self._address, self._say = address, say
        self._said: set[str] = set()
        self._wire: Wire | None = None
        self._answers: deque[tuple[Request, Answer]] = deque()
        self._begun = 0
        self._looked_s = -math.inf
        self._nobody_since_s: float | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        if self._wire:
            self._wire.close()

    @property
    def full(self) -> bool:
        """Whether every worker has a take and one more lies ready for it."""
        return self._begun >= max(1, AHEAD * len(self._looked_after().useful))

    def begin(self, request: Request) -> None:
        """Send the take to a worker, or keep it until one is free."""
        self._looked_after().send(Errand(request))
        self._begun += 1

    def wait(self) -> tuple[Request, Answer]:
        """Return the answer of whichever worker is done first."""
        while not self._answers:
            posts = self._looked_after()
            if not self._answers and (back := posts.next_back(LOOK_S)):
                self._land(posts, back)
        self._begun -= 1
        return self._answers.popleft()

    def _looked_after(self) -> Posts:
        """Return the workers, as of LOOK_S ago at most."""
        if self._wire is None:
            self._wire = Wire(self._address)
            self._posts = Posts(self._wire)
        if monotonic() - self._looked_s >= LOOK_S:
            self._look(self._wire, self._posts)
        return self._posts

    def _look(self, wire: Wire, posts: Posts) -> None:
        """See who is there, and what will not come back by itself."""
        threads = wire.workers()
        self._looked_s = monotonic()
        for post, errand in posts.meet(threads):
            self._lose(posts, post, errand)
        for post, errand in posts.take_from_holders(HOLDS):
            self._answer(errand, _held(post, errand))
        for errand in posts.take_unseen():
            self._answer(errand, _unseen(errand))
        for post in posts.useful:
            if (count := threads[post.address]) > 1:
                how = f"a worker there has {count} threads, but hears one take at a time"
                self._say_once(f"{post.host}: {how}; start one a core, with --nthreads 1")
        self._insist_on_somebody(posts)

    def _insist_on_somebody(self, posts: Posts) -> None:
        if posts.useful:
            self._nobody_since_s = None
            return
        if posts.useless:
            problem = f"{self._address}: none of its workers can be used, as was said"
            raise BatchError(f"{problem}; mend them, or start others")
        self._nobody_since_s = self._nobody_since_s or monotonic()
        if monotonic() - self._nobody_since_s >= NOBODY_S:
            problem = f"{self._address}: has had no worker for {NOBODY_S:.0f} s"
            raise BatchError(f"{problem}; start some with dask worker {self._address} --nthreads 1")

    def _land(self, posts: Posts, back: Back) -> None:
        post, errand, found = back
        match found:
            case bytes():
                self._take_in(posts, post, errand, pickle.loads(found))
            case LostError():
                posts.forget(post)
                self._lose(posts, post, errand)
            case ImportError() | AttributeError() if post.door.status == "error":
                self._turn_away(posts, post, errand, f"{post.host} has no takemill")
            case _:
                raise found

    def _take_in(self, posts: Posts, post: Post, errand: Errand, reply: Reply) -> None:
        match reply.said:
            case Stranger(version):
                self._turn_away(posts, post, errand, f"{reply.machine} has {_named(version)}")
            case Unseen(problem):
                errand.unseen[post.address] = f"{reply.machine} {problem}"
                posts.send(errand)
                self._looked_s = -math.inf  # perhaps nobody is left who sees it
            case Analysis() | TakeError() as found:
                for line in errand.unseen.values():
                    self._say_once(f"{line}; mount the folder there at the same path, others hear its takes")
                self._answer(errand, found)
            case Bug(trace):
                raise RuntimeError(f"on {reply.machine}: {trace}")

    def _turn_away(self, posts: Posts, post: Post, errand: Errand, why: str) -> None:
        posts.dismiss(post)
        self._say_once(f"{why}; install {_named(VERSION)} there, it is left out until then")
        posts.send(errand)
        self._looked_s = -math.inf  # perhaps nobody is left who can be used

    def _lose(self, posts: Posts, post: Post, errand: Errand) -> None:
        """Send a take again whose worker is gone, unless that is the take's doing."""
        if post.at_it_s >= limit_s(errand.request):
            self._answer(errand, _took_too_long(errand))
            return
        errand.died_on.append(post.host)
        if len(errand.died_on) < MOST_DEATHS:
            posts.send(errand)
        else:
            self._answer(errand, _deadly(errand))

    def _answer(self, errand: Errand, found: Answer) -> None:
        self._answers.append((errand.request, found))

    def _say_once(self, line: str) -> None:
        if line not in self._said:
            self._said.add(line)
            self._say(line)


def _took_too_long(errand: Errand) -> TakeError:
    problem = f"took longer than {limit_s(errand.request):,.0f} s to hear"
    remedy = "its worker was ended; cut it up, or raise hearing.time_limit_s in takemill.toml"
    return TakeError(errand.request.asked.path, problem, remedy)


def _deadly(errand: Errand) -> TakeError:
    problem = f"{len(errand.died_on)} workers died hearing it, on {', '.join(dict.fromkeys(errand.died_on))}"
    remedy = "it is tried again with the next run; give workers more memory, or export it as WAV or FLAC"
    return TakeError(errand.request.asked.path, problem, remedy)


def _held(post: Post, errand: Errand) -> LaterError:
    problem = f"{post.host} has not heard it after {post.at_it_s:,.0f} s"
    remedy = "see whether its worker is paused for want of memory or busy for others; the take waits"
    return LaterError(errand.request.asked.path, problem, remedy)


def _unseen(errand: Errand) -> LaterError:
    problem = " and ".join(dict.fromkeys(errand.unseen.values()))
    remedy = "mount the same folder there at the same path; the take waits"
    return LaterError(errand.request.asked.path, problem, remedy)


def _named(version: tuple[str, int]) -> str:
    return f"takemill {version[0]} (listening {version[1]})"
