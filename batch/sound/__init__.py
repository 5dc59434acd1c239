"""Sound files of any kind, read by their content: ``files`` by libsndfile, ``media`` by PyAV.

``promises`` compares what a header states with what is there, ``protection`` sees encryption,
``channels`` decides what of a take to hear, ``condition`` measures what the player should know.
"""

from pathlib import Path

from batch.errors import TakeError
from batch.sound.files import open_file
from batch.sound.model import MOST_CHANNELS, RATE_LIMITS_HZ, Sound, UnknownSoundError
from batch.sound.promises import refuse_cut_short

__all__ = ["Sound", "open_sound"]


def open_sound(path: Path) -> Sound:
    """Return the sound in the file at ``path``, whatever the file's ending says.

    Raises
    ------
    TakeError
        If no reader knows the content, it is cut short or protected, or its header is absurd.
    """
    refuse_cut_short(path)
    try:
        sound: Sound = open_file(path)
    except UnknownSoundError as unknown:
        # Imported here: libav takes a while to load, and most takes do without it.
        from batch.sound.media import open_media  # noqa: PLC0415

        sound = open_media(path, unknown)
    _refuse_absurd(sound)
    return sound


def _refuse_absurd(sound: Sound) -> None:
    lowest, highest = RATE_LIMITS_HZ
    if not lowest <= sound.rate_hz <= highest:
        problem = f"states a sample rate of {sound.rate_hz:,} Hz"
        raise TakeError(sound.path, problem, "its header is damaged: export it again from the original")
    if not 1 <= sound.channels <= MOST_CHANNELS:
        problem = f"states {sound.channels:,} channels"
        raise TakeError(sound.path, problem, f"export it again with {MOST_CHANNELS} or fewer")
    if sound.frames <= 0:
        raise TakeError(
            sound.path,
            "holds no sound, or its header was never finished",
            "open it in the recording program and export it again",
        )
