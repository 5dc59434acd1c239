"""The installed command, and takes to give it."""

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

Run = Callable[..., subprocess.CompletedProcess[str]]

COMMAND = Path(sys.executable).with_name("takemill")


@pytest.fixture(scope="session")
def takemill() -> Run:
    """Return a function that runs the installed command and gives back what it said."""

    def run(*arguments: object, **environment: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [COMMAND, *map(str, arguments)],
            capture_output=True,
            text=True,
            check=False,
            timeout=120,
            env=os.environ | environment,
        )

    return run
