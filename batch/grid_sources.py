"""The grid from the best source there is, and what other sources say against it."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from batch.beats.pulse import Pulse
from batch.grid import grid_from_map, grid_from_pulse, grid_from_tempo, numbered_from
from batch.model import Grid, Note
from batch.placement import map_of_settings, starts_at_s
from batch.settings import GridSettings, Settings
from batch.takes import AudioTake, MidiTake, Take
from batch.tempo import MeterChange, TempoMap

TEMPO_MAP, MIDI_TAKE, SETTINGS, COMPANION, TAG, ALONE = (
    "tempo map", "midi take", "settings", "companion", "tempo tag", "take alone",
)  # fmt: skip
"""What a grid can come from, best first."""

DISAGREES = 0.02
"""Tempos this much apart, as a share, are not the same one rounded or drifting (our choice)."""

LEAST_BESIDE = 0.5
"""Share of a take that its companion must cover (our choice)."""

OTHER_COUNTS = (0.5, 2.0)
"""Taggers count half or double as often as not, which is no disagreement (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Companion:
    """A click or a backing by its file's name, and the beats found in it, in seconds of the take."""

    name: str
    pulse: Pulse | None


@dataclass(frozen=True, slots=True)
class Sources:
    """All that may say where the beats of a take are, besides its notes."""

    take: Take
    settings: Settings
    session_map: TempoMap | None = None
    companion: Companion | None = None

    @property
    def chosen(self) -> GridSettings:
        """What the settings say of this take."""
        return self.settings.grid_for(self.take.path.name)

    @property
    def tag_bpm(self) -> float | None:
        """The tempo in the take's tags."""
        return self.take.tempo_bpm if isinstance(self.take, AudioTake) else None


def find_grid(sources: Sources, notes: Sequence[Note]) -> Grid | None:
    """Return the grid from the first source that is sure enough, else from the surest.

    Raises
    ------
    TakeError
        If the take would start before the session's zero, or at a bar that there is not.
    """
    surest: Grid | None = None
    for find in _FINDERS:
        grid = find(sources, notes)
        if grid and grid.confidence >= sources.settings.groove.confidence_from:
            return grid
        if grid and (surest is None or grid.confidence > surest.confidence):
            surest = grid
    return replace(surest, trusted=False) if surest else None


def _of_session(sources: Sources, notes: Sequence[Note]) -> Grid | None:
    if sources.session_map is None:
        return None
    return grid_from_map(
        sources.session_map,
        duration_s=sources.take.info.duration_s,
        starts_at_s=starts_at_s(sources.take, sources.chosen, sources.session_map),
        source=TEMPO_MAP,
        spans_session=True,
    )


def _of_midi_take(sources: Sources, notes: Sequence[Note]) -> Grid | None:
    take = sources.take
    return _of_its_map(take) if isinstance(take, MidiTake) and take.states_tempo else None


def _of_silent_midi_take(sources: Sources, notes: Sequence[Note]) -> Grid | None:
    """Return 120 beats a minute for a MIDI file that states no tempo (Standard MIDI Files 1.0, Set Tempo)."""
    return _of_its_map(sources.take) if isinstance(sources.take, MidiTake) else None


def _of_its_map(take: MidiTake) -> Grid:
    return grid_from_map(take.tempo_map, duration_s=take.info.duration_s, starts_at_s=0.0, source=MIDI_TAKE)


def _of_settings(sources: Sources, notes: Sequence[Note]) -> Grid | None:
    chosen, duration_s = sources.chosen, sources.take.info.duration_s
    if chosen.tempo_bpm is None:
        return None
    if chosen.starts_at_bar and (session_tempo := map_of_settings(chosen)):
        return grid_from_map(
            session_tempo,
            duration_s=duration_s,
            starts_at_s=starts_at_s(sources.take, chosen),
            source=SETTINGS,
            spans_session=True,
        )
    return grid_from_tempo(
        chosen.tempo_bpm,
        chosen.meter_pair,
        duration_s=duration_s,
        first_downbeat_s=chosen.first_downbeat_s,
        count_in_bars=chosen.count_in_bars,
        source=SETTINGS,
    )


def _of_companion(sources: Sources, notes: Sequence[Note]) -> Grid | None:
    if sources.companion is None or not _lies_beside(sources.companion, sources.take.info.duration_s):
        return None
    return _of_pulse(sources, sources.companion.pulse, COMPANION)


def _lies_beside(companion: Companion, duration_s: float) -> bool:
    """Return whether enough of the take has beats of the companion; beyond them they would be a guess."""
    if companion.pulse is None:
        return False
    first_s, last_s = companion.pulse.beats_s[0], companion.pulse.beats_s[-1]
    return min(last_s, duration_s) - max(first_s, 0.0) >= LEAST_BESIDE * duration_s


def _of_tag(sources: Sources, notes: Sequence[Note]) -> Grid | None:
    if sources.tag_bpm is None:
        return None
    return _of_pulse(sources, _tracked(sources, notes, sources.tag_bpm), TAG)


def _of_notes(sources: Sources, notes: Sequence[Note]) -> Grid | None:
    if sources.tag_bpm is not None:
        return None  # with the tag's tempo the notes have been asked already
    return _of_pulse(sources, _tracked(sources, notes, None), ALONE)


def _tracked(sources: Sources, notes: Sequence[Note], tempo_bpm: float | None) -> Pulse | None:
    from batch.beats.alone import track_notes  # noqa: PLC0415  it loads much, and the beat is mostly known

    return track_notes(
        notes,
        duration_s=sources.take.info.duration_s,
        meter=sources.chosen.meter_pair,
        tempo_bpm=tempo_bpm,
    )


def _of_pulse(sources: Sources, pulse: Pulse | None, source: str) -> Grid | None:
    if pulse is None:
        return None
    chosen = sources.chosen
    meter = chosen.meter_pair
    if "meter" not in chosen.model_fields_set and pulse.beats_per_bar != meter[0]:
        meter = (pulse.beats_per_bar, meter[1])
    if "first_downbeat_s" in chosen.model_fields_set:
        pulse = numbered_from(pulse, chosen.first_downbeat_s, MeterChange(0, *meter).beats_per_bar)
    grid = grid_from_pulse(pulse, meter, duration_s=sources.take.info.duration_s, source=source)
    return replace(grid, first_bar=grid.first_bar - chosen.count_in_bars)


_FINDERS: tuple[Callable[[Sources, Sequence[Note]], Grid | None], ...] = (
    _of_session,
    _of_midi_take,
    _of_settings,
    _of_companion,
    _of_silent_midi_take,
    _of_tag,
    _of_notes,
)


def source_warnings(sources: Sources, grid: Grid | None) -> tuple[str, ...]:
    """Return what the player should know: no grid, an unsure one, sources that contradict it."""
    return (*_about_companion(sources, grid), *_about_grid(sources, grid), *_disagreements(sources, grid))


def _about_grid(sources: Sources, grid: Grid | None) -> Iterator[str]:
    if grid is not None and grid.trusted:
        return
    found = (
        "no grid"
        if grid is None
        else f"beat unsure (confidence {grid.confidence:.2f}, from the {_WORDS[grid.source]})"
    )
    click = " or NAME.click.wav" if sources.companion is None else ""
    yield (
        f"{found}: give grid.tempo_bpm and grid.first_downbeat_s in takemill.toml, or put NAME.tempo.mid"
        f"{click} beside the take (groove unmeasured, length and density in seconds)"
    )


def _about_companion(sources: Sources, grid: Grid | None) -> Iterator[str]:
    named, companion = sources.chosen.companion, sources.companion
    if named is not None and companion is None and (grid is None or grid.source in (TAG, ALONE)):
        yield f"its companion {named} (grid.companion in takemill.toml) is not there: put it beside the take"
    if companion is None or (grid and grid.source in (TEMPO_MAP, MIDI_TAKE, SETTINGS)):
        return
    if companion.pulse is not None and not _lies_beside(companion, sources.take.info.duration_s):
        first_s, last_s = companion.pulse.beats_s[0], companion.pulse.beats_s[-1]
        yield (
            f"its companion {companion.name} has its beats from {first_s:.1f} to {last_s:.1f} s of the take,"
            " which is too little of it: see grid.companion_starts_at_s"
        )
    elif not (grid and grid.source == COMPANION and grid.trusted):
        yield f"no steady beat was found in its companion {companion.name}"


_WORDS = {
    TEMPO_MAP: "tempo map",
    MIDI_TAKE: "MIDI file",
    SETTINGS: "settings",
    COMPANION: "companion",
    TAG: "tempo tag",
    ALONE: "take alone",
}


def _disagreements(sources: Sources, grid: Grid | None) -> Iterator[str]:
    """Yield a line for every source that states another tempo or meter than the grid's."""
    if grid is None or not grid.trusted:
        return
    if grid.source == TAG and not _agree(sources.tag_bpm or 0.0, grid.tempo_bpm, COMPANION):
        yield (
            f"the tempo tag says {sources.tag_bpm:.4g} beats a minute, the notes fit {grid.tempo_bpm:.4g}:"
            " where that is not what you count, set grid.tempo_bpm"
        )
    rest = list(_WORDS)[list(_WORDS).index(grid.source) + 1 :]
    for source, state in _STATEMENTS.items():
        stated = state(sources) if source in rest else None
        if stated is not None and not _agree(stated, grid.tempo_bpm, source):
            yield (
                f"sources disagree: the {_WORDS[grid.source]} says {grid.tempo_bpm:.4g} beats a minute, the"
                f" {_WORDS[source]} {stated:.4g}; the {_WORDS[grid.source]} was taken, as the better source"
            )
    chosen = sources.chosen
    if "meter" in chosen.model_fields_set and grid.source in (TEMPO_MAP, MIDI_TAKE):
        meters = {(m.numerator, m.denominator) for m in grid.tempo_map.meters} if grid.tempo_map else set()
        if meters and chosen.meter_pair not in meters:
            found = ", ".join(f"{n}/{d}" for n, d in sorted(meters))
            yield (
                f"sources disagree: the {_WORDS[grid.source]} is in {found}, the settings say {chosen.meter};"
                f" the {_WORDS[grid.source]} was taken, as the better source"
            )


def _agree(stated_bpm: float, taken_bpm: float, source: str) -> bool:
    counts = (1.0, *OTHER_COUNTS) if source == TAG else (1.0,)
    return any(abs(stated_bpm * count / taken_bpm - 1) <= DISAGREES for count in counts)


def _midi_tempo(sources: Sources) -> float | None:
    grid = _of_midi_take(sources, ())
    return grid.tempo_bpm if grid else None


def _companion_tempo(sources: Sources) -> float | None:
    companion = sources.companion
    grid = _of_pulse(sources, companion.pulse, COMPANION) if companion else None
    return grid.tempo_bpm if grid and grid.confidence >= sources.settings.groove.confidence_from else None


_STATEMENTS: dict[str, Callable[[Sources], float | None]] = {
    MIDI_TAKE: _midi_tempo,
    SETTINGS: lambda sources: sources.chosen.tempo_bpm,
    COMPANION: _companion_tempo,
    TAG: lambda sources: sources.tag_bpm,
}
"""The tempo each source states, in beats a minute; the session's map is never the worse one."""
