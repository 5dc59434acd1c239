"""Where in the session a take starts."""

from batch.errors import TakeError
from batch.settings import GridSettings
from batch.takes import Take


def starts_at_s(take: Take, chosen: GridSettings) -> float:
    """Return where in the session the take starts: as set, as its time reference says, or at zero.

    Raises
    ------
    TakeError
        If the take's time reference puts it before the session's zero.
    """
    if chosen.starts_at_s is not None:
        return chosen.starts_at_s
    if take.info.time_reference_s is None:
        return 0.0
    start_s = take.info.time_reference_s - chosen.session_starts_at_s
    if start_s < 0:
        problem = f"starts {-start_s:,.3f} s before the session's zero by its time reference"
        remedy = "lower grid.session_starts_at_s in takemill.toml, or set grid.starts_at_s"
        raise TakeError(take.path, problem, remedy)
    return start_s
