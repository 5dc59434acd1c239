"""The wire to the scheduler of a Dask cluster: what is sent, who is there, and what goes wrong on the way.

Only names of the standard library and bytes pass through the scheduler, so that it needs no takemill.
"""

import asyncio
import logging
import operator
import pickle
import pkgutil
import re
import warnings
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from importlib.util import find_spec
from typing import TYPE_CHECKING, TypeAlias

from batch.cluster.outpost import VERSION
from batch.errors import BatchError
from batch.hearers import Request

if TYPE_CHECKING:
    from distributed import Client, Future

    Sent: TypeAlias = Future[bytes]
    Then: TypeAlias = Callable[[Sent, bytes | Exception], None]
    """Told what was sent and what came of it, or what went wrong before anything was heard: a LostError
    if workers died of it, a BatchError if the scheduler is gone."""

CONNECT_S = 5.0
"""How long a scheduler may take to answer the first time: networks are quicker, busy machines not by much."""
ANSWER_S = 15.0
"""How long it may take after that; its own pauses (garbage, hundreds of workers) last a few seconds."""
CLOSE_S = 2.0
"""How long leaving may take: who stops takemill waits for it."""

_ADDRESS = re.compile(r"((tcp|tls|ws|wss|ucx)://)?(\[[0-9A-Za-z:.%]+\]|[^\s:/@\[\]]+):(?P<port>[0-9]{1,5})")
_DOOR = "batch.cluster.outpost:hear"


class LostError(Exception):
    """Nothing came of a request but the death of its worker, or of each that Dask gave it to."""


def check_address(address: str) -> None:
    """Raise BatchError if this is no address, or if what speaks to clusters is not installed."""
    shape = _ADDRESS.fullmatch(address)
    if shape is None or not 0 < int(shape["port"]) < 1 << 16:
        problem = f"--cluster {address!r}: is no address of a scheduler"
        raise BatchError(f"{problem}; give the one that it says as it starts, such as tcp://studio:8786")
    if find_spec("distributed") is None:
        problem = "--cluster needs the package distributed, which is not installed"
        raise BatchError(f"{problem}; pip install 'takemill[cluster]'")


class Wire:
    """A connection to the scheduler at ``address``, made anew; close it after use.

    Raises
    ------
    BatchError
        From any method, if the scheduler is not there, or not any more.
    """

    def __init__(self, address: str) -> None:
        self._address = address
        self._after = ExitStack()
        self._after.enter_context(_quiet())
        try:
            self._client = self._connect()
        except BaseException:
            self._after.close()
            raise

    def _connect(self) -> "Client":
        from distributed import Client  # noqa: PLC0415  takes half a second

        try:
            # First, since a client waits for ever for one who takes the call and says nothing.
            kind = asyncio.run(asyncio.wait_for(_kind_of(self._address), CONNECT_S))
            if kind == "Scheduler":
                return Client(self._address, timeout=CONNECT_S, set_as_default=False)
        except (OSError, TimeoutError) as error:
            problem = f"{self._address}: no scheduler answers there"
            raise BatchError(f"{problem}; start it with dask scheduler, or run without --cluster") from error
        except Exception as error:  # what is there may be anything, and so may what is set for Dask
            problem = f"{self._address}: cannot be spoken to ({str(error) or type(error).__name__})"
            raise BatchError(f"{problem}; see that Dask is set up for it here") from error
        problem = f"{self._address}: is no scheduler but a {kind.lower()}"
        raise BatchError(f"{problem}; give the address that the scheduler says as it starts")

    def close(self) -> None:
        """Leave. The scheduler forgets what was asked of it."""
        with self._after, suppress(Exception):
            try:
                self._client.close(timeout=CLOSE_S)
            finally:
                self._client.status = "closed"  # else it would try again, and longer, when it is collected

    def workers(self) -> dict[str, int]:
        """Return the threads of each worker, by its address."""
        try:
            if self._client.status == "running" and (scheduler := self._client.scheduler):
                return self._client.sync(scheduler.ncores, callback_timeout=ANSWER_S)
        except Exception as error:
            raise self.gone() from error
        raise self.gone()

    def gone(self) -> BatchError:
        """Return the error for a scheduler that went away."""
        problem = f"{self._address}: the scheduler went away"
        return BatchError(f"{problem}; start it again and run takemill again: what is not done waits")

    def door(self, worker: str) -> "Sent":
        """Return the function that hears takes, found on the worker and left there."""
        return self._client.submit(pkgutil.resolve_name, _DOOR, workers=[worker], pure=False)

    def send(self, worker: str, door: "Sent", request: Request, then: "Then") -> "Sent":
        """Send a request through a worker's door; ``then`` is called in the wire's thread as it ends."""
        packed = pickle.dumps(request)
        sent = self._client.submit(operator.call, door, *VERSION, packed, workers=[worker], pure=False)
        assert self._client.loop
        self._client.loop.add_callback(self._bring, sent, then)
        return sent

    async def _bring(self, sent: "Sent", then: "Then") -> None:
        """Wait for a request to end, and fetch what came of it.

        What a worker takes with it as it dies never comes: ``then`` is called once it is wanted no more.
        """
        from distributed import CancelledError, KilledWorker  # noqa: PLC0415

        found: bytes | Exception
        try:
            found = await self._client.gather(sent, asynchronous=True)
        except CancelledError:
            found = self.gone()
        except KilledWorker:
            found = LostError()
        except Exception as error:
            found = error
        then(sent, found)


async def _kind_of(address: str) -> str:
    """Return what answers at an address: a Scheduler, a Worker, a Nanny."""
    from distributed import rpc  # noqa: PLC0415
    from distributed.security import Security  # noqa: PLC0415

    security = Security().get_connection_args("client")
    async with rpc(address, timeout=CONNECT_S, connection_args=security) as peer:
        return str((await peer.identity())["type"])


@contextmanager
def _quiet() -> Iterator[None]:
    """Keep to itself what the libraries of the cluster log and warn of; what matters is said by us."""
    before = logging.root.manager.disable
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        logging.disable(logging.CRITICAL)
        try:
            yield
        finally:
            logging.disable(before)
