"""What is compiled is compiled once, whatever number of processes start together."""

import os
import subprocess
import sys

ASK = """
from batch.hearing.decode import _search, _trace, compile_search
compile_search()
print(*(sum(f.stats.cache_misses.values()) for f in (_search, _trace)))
"""


def test_of_processes_that_start_together_one_compiles(tmp_path):
    environment = os.environ | {"NUMBA_CACHE_DIR": str(tmp_path)}
    started = [
        subprocess.Popen([sys.executable, "-c", ASK], env=environment, stdout=subprocess.PIPE, text=True)
        for _ in range(3)
    ]
    compiled = sorted(process.communicate(timeout=120)[0].strip() for process in started)
    assert compiled == ["0 0", "0 0", "1 1"]
