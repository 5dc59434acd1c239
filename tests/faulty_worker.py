"""What a worker of a cluster loads first in tests: takes do to it what their names say.

Given to ``dask worker --preload``; FAULT=without is a worker where takemill is not installed.
"""

import itertools
import os
import signal
import sys
import time
from pathlib import Path

if os.environ.get("FAULT") == "without":
    sys.modules["batch"] = None  # type: ignore[assignment]
else:
    from batch.cluster import outpost
    from batch.errors import TakeError
    from batch.folder import Brief

    # From where they are defined: some versions of Dask load this twice.
    from batch.folder import content_hash as look
    from batch.hearers import Request
    from batch.listen import listen as hear
    from batch.model import Analysis

    def listen(asked: Brief, content_hash: str) -> Analysis:
        """Hear a take, unless its name says otherwise."""
        path = asked.path
        match path.stem.partition("-")[0]:
            case "deadly":
                with path.with_suffix(".deaths").open("a") as deaths:
                    deaths.write("x")
                os.kill(os.getpid(), signal.SIGSEGV)
            case "hanging":
                max(itertools.repeat(0))  # never ends, and never lets go of the interpreter
            case "gated":  # waits for the test
                path.with_suffix(".pid").write_text(str(os.getpid()))
                while not path.with_suffix(".go").exists():
                    time.sleep(0.01)
            case "buggy":
                raise KeyError("a mistake of ours", lambda: "that cannot travel")
        return hear(asked, content_hash)

    def content_hash(path: Path) -> str:
        """Return what a worker sees of a take."""
        match path.stem.partition("-")[0]:
            case "unseen":
                raise TakeError(path, "is not there any more", "put it back")
            case "half" if first_at(path):
                raise TakeError(path, "is not there any more", "put it back")
            case "other":
                return "another"
        return look(path)

    def first_at(path: Path) -> bool:
        """Return whether this worker was the first to look at a take."""
        try:
            with path.with_suffix(".first").open("x") as first:
                first.write(str(os.getpid()))
        except FileExistsError:
            return path.with_suffix(".first").read_text() == str(os.getpid())
        return True

    def limit_s(request: Request) -> float:
        """Return how long a take may be listened to."""
        return 1.0 if request.asked.path.stem.startswith("hanging") else 600.0

    outpost.listen, outpost.content_hash, outpost.limit_s = listen, content_hash, limit_s
