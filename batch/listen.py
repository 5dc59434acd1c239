"""Open a take and what lies beside it, and listen; the door between the engine and the listening stages."""

from dataclasses import replace
from typing import TYPE_CHECKING

from batch.errors import TakeError
from batch.folder import Brief
from batch.kinds import MIDI_SUFFIXES
from batch.model import Analysis

if TYPE_CHECKING:
    from batch.grid_sources import Companion
    from batch.harmony import Chart, NoChart
    from batch.takes import Take


def listen(asked: Brief, content_hash: str) -> Analysis:
    """Return the analysis of the take that ``asked`` briefs.

    Raises
    ------
    TakeError
        If the take, or the tempo map or the companion beside it, cannot be read.
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
        take = open_take(asked.path, content_hash, asked.settings.sound)
        return analyse(take, asked.settings, session_map, _companion_of(take, asked), _chart_of(asked))


def _chart_of(asked: Brief) -> "Chart | NoChart | None":
    if asked.chart is None:
        return None
    from batch.harmony.reading import read_chart  # noqa: PLC0415

    return read_chart(asked.chart)


def _companion_of(take: "Take", asked: Brief) -> "Companion | None":
    """Return the companion with the beats heard in it; None where there is none, or a better source."""
    chosen = asked.settings.grid_for(asked.path.name)
    has_map = asked.tempo_map is not None or asked.path.suffix.lower() in MIDI_SUFFIXES
    if asked.companion is None or has_map or chosen.tempo_bpm is not None:
        return None
    from batch.beats.companion import listen_to_companion  # noqa: PLC0415
    from batch.grid_sources import Companion  # noqa: PLC0415
    from batch.tags import read_tags  # noqa: PLC0415

    name = asked.companion.name
    meter = chosen.meter_pair if "meter" in chosen.model_fields_set else None
    try:
        pulse = listen_to_companion(asked.companion, meter, read_tags(asked.companion).tempo_bpm)
        starts_at_s = _companion_starts_at_s(take, asked)
    except TakeError as error:
        problem = f"its companion {name} {error.problem}"
        raise TakeError(asked.path, problem, f"{error.remedy}, or take it away") from error
    if pulse is None:
        return Companion(name, None)
    return Companion(name, replace(pulse, beats_s=tuple(starts_at_s + beat for beat in pulse.beats_s)))


def _companion_starts_at_s(take: "Take", asked: Brief) -> float:
    """Return where in the take its companion starts: as set, by the time references of both, or with it."""
    from batch.sound import open_sound  # noqa: PLC0415
    from batch.sound.broadcast import read_broadcast  # noqa: PLC0415

    said = asked.settings.grid_for(asked.path.name).companion_starts_at_s
    if said is not None or asked.companion is None:
        return said or 0.0
    other = read_broadcast(asked.companion, open_sound(asked.companion).rate_hz).time_reference_s
    own = take.info.time_reference_s
    return 0.0 if own is None or other is None else other - own


def prepare() -> None:
    """Load what listening needs, compiled: a process that is to hear many takes does it first."""
    import batch.takes  # noqa: F401, PLC0415
    from batch.beats.alone.pointer import compile_pointer  # noqa: PLC0415
    from batch.hearing.coupling import compile_coupling  # noqa: PLC0415
    from batch.hearing.decode import compile_search  # noqa: PLC0415
    from batch.relations import compile_alignment  # noqa: PLC0415

    compile_coupling()
    compile_search()
    compile_pointer()
    compile_alignment()
