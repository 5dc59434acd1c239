"""Run a command and say what it took, as JSON. A script of its own, started afresh for each measurement:

what the kernel counts as a process's peak memory begins with that of the process it was started
from, and the benchmark is larger than takemill.
"""

import json
import os
import sys
import time

if __name__ == "__main__":
    started = time.perf_counter()
    process = os.posix_spawn(sys.argv[2], sys.argv[2:], os.environ)
    _, status, used = os.wait4(process, 0)
    cost = {
        "wall_s": time.perf_counter() - started,
        "cpu_s": used.ru_utime + used.ru_stime,
        "peak_mib": used.ru_maxrss / 1024,
    }
    with open(sys.argv[1], "w", encoding="utf-8") as out:  # noqa: PTH123  pathlib would weigh on the peak
        json.dump(cost, out)
    sys.exit(os.waitstatus_to_exitcode(status))
