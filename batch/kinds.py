"""What a file is by its name alone: a take, a tempo map, or nothing of ours."""

from pathlib import Path

from batch.names import BROUGHT_TAKE_ENDING, OUTPUT_SUFFIXES

FILE_SUFFIXES = frozenset(
    {".wav", ".wave", ".bwf", ".rf64", ".bw64", ".w64", ".caf", ".aif", ".aiff", ".aifc", ".au", ".snd"}
    | {".flac", ".ogg", ".oga", ".opus", ".mp3"}
)
"""What libsndfile reads."""
MEDIA_SUFFIXES = frozenset({".m4a", ".aac", ".wma", ".mp4", ".m4v", ".mov", ".3gp", ".webm", ".mka", ".mkv"})
"""What phones and video recorders make."""
AUDIO_SUFFIXES = FILE_SUFFIXES | MEDIA_SUFFIXES
MIDI_SUFFIXES = frozenset({".mid", ".midi", ".smf"})
TAKE_SUFFIXES = AUDIO_SUFFIXES | MIDI_SUFFIXES

_PARTIAL_ENDINGS = (".part", ".partial", ".tmp", ".temp", ".crdownload", ".download")
"""Before the ending, where a program keeps a file that it has not finished (common practice, no source)."""


def is_take_name(name: str) -> bool:
    """Return whether a file of this name can be a take: whole, not hidden, not ours, no tempo map."""
    lower = name.lower()
    path = Path(lower)
    return (
        path.suffix in TAKE_SUFFIXES
        and not is_hidden(lower)
        and not lower.endswith(OUTPUT_SUFFIXES)
        and not BROUGHT_TAKE_ENDING.search(path.stem)
        and not path.stem.endswith(_PARTIAL_ENDINGS)
        and not is_tempo_map_name(lower)
    )


def is_tempo_map_name(name: str) -> bool:
    """Return whether a file of this name says a session's tempo."""
    path = Path(name.lower())
    return path.suffix in MIDI_SUFFIXES and (path.stem == "tempo" or path.stem.endswith(".tempo"))


def is_hidden(name: str) -> bool:
    """Return whether a file of this name is hidden or a program's temporary one."""
    return name.startswith((".", "~"))
