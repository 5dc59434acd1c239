"""What a player is told of the parts of a take that became no phrases."""

from collections.abc import Sequence

from batch.hearing.scene import Scene
from batch.playing import LeftOut, Played, Sort

MOMENT_S = 0.5  # s of sound altogether: somebody hit the table (our choice)
TONAL = 0.6  # mean salience of what has one period all along; hum has 0.7, noise 0.3 (rendered sounds)
_POINTS = (Sort.COUNT_IN,)  # told by when they start; others have an end worth telling


def told(played: Played, scene: Scene | None) -> tuple[str, ...]:
    """Return the warning that says what was left out, or why nothing is left; ``scene`` None for MIDI."""
    if not played.notes:
        return (f"no phrases: {_why_none(played.left_out, scene)}",)
    if played.left_out:
        return ("left out: " + ", ".join(map(_where, played.left_out)),)
    return ()


def _why_none(left_out: Sequence[LeftOut], scene: Scene | None) -> str:
    if scene is None:
        return "the take holds no notes"
    sorts = {part.sort for part in left_out}
    if sorts:
        words = [_WORDS[sort] for sort in Sort if sort in sorts]
        return "only " + " and ".join([", ".join(words[:-1]), words[-1]] if words[1:] else words)
    row_s = scene.row_s
    sounding_s = float(scene.audible.sum()) * row_s
    if not sounding_s:
        return "the take is silent; check what the recorder was listening to"
    if sounding_s < MOMENT_S:
        return "the take is silent but for a moment"
    tonal = float((scene.periodic * scene.audible).sum() / scene.audible.sum())
    return "only hum or a steady tone" if tonal >= TONAL else "only noise"


_WORDS = {
    Sort.SPEECH: "speech",
    Sort.COUNT_IN: "a count-in",
    Sort.CLICK: "a count-in or click",
    Sort.TUNING: "tuning, one pitch over and over",
    Sort.TONE: "a steady tone",
}


def _where(part: LeftOut) -> str:
    if part.sort in _POINTS:
        return f"{part.sort.value} at {_clock(part.start_s)}"
    return f"{part.sort.value} {_clock(part.start_s)}-{_clock(part.end_s)}"


def _clock(time_s: float) -> str:
    minutes, seconds = divmod(int(time_s), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{seconds:02d}" if hours else f"{minutes}:{seconds:02d}"
