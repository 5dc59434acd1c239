"""Open a take and listen to it; the door between the engine and the listening stages."""

from batch.errors import TakeError
from batch.folder import Brief
from batch.model import Analysis


def listen(asked: Brief, content_hash: str) -> Analysis:
    """Return the analysis of the take that ``asked`` briefs.

    Raises
    ------
    TakeError
        If the take, or the tempo map beside it, cannot be read.
    """
    # Imported here: a run with nothing new to hear should not wait for the numeric libraries.
    from threadpoolctl import threadpool_limits  # noqa: PLC0415

    from batch.midi_take import read_tempo_map  # noqa: PLC0415
    from batch.pipeline import analyse  # noqa: PLC0415
    from batch.takes import open_take  # noqa: PLC0415

    try:
        session_map = read_tempo_map(asked.tempo_map) if asked.tempo_map else None
    except TakeError as error:
        problem = f"its tempo map {error.path.name} {error.problem}"
        raise TakeError(asked.path, problem, f"{error.remedy}, or take it away") from error
    # One thread: the matrices are small, and idle helpers cost more than they bring.
    with threadpool_limits(limits=1):
        return analyse(open_take(asked.path, content_hash, asked.settings.sound), asked.settings, session_map)


def prepare() -> None:
    """Load what listening needs, compiled: a process that is to hear many takes does it first."""
    import batch.takes  # noqa: F401, PLC0415
    from batch.hearing.coupling import compile_coupling  # noqa: PLC0415
    from batch.hearing.decode import compile_search  # noqa: PLC0415

    compile_coupling()
    compile_search()
