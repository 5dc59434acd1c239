"""Beats and bars of a companion recording: the click or the backing that a player recorded along with."""

from collections.abc import Iterable, Iterator
from pathlib import Path

import numpy as np

from batch.beats.companion.backing import pulse_of_backing
from batch.beats.companion.click import click_in
from batch.beats.companion.ear import activations
from batch.beats.companion.pieces import Floats, NoNumbersError, pieces
from batch.beats.companion.spectra import spectra_in
from batch.beats.companion.strokes import Strokes, joined, strokes_in
from batch.beats.pulse import Pulse
from batch.errors import TakeError
from batch.sound import open_sound


def listen_to_companion(
    path: Path, meter: tuple[int, int] | None = None, tempo_bpm: float | None = None
) -> Pulse | None:
    """Return the beats of the sound file at ``path``, all its channels mixed; see ``track_companion``.

    Raises
    ------
    TakeError
        If the file cannot be read, breaks off, or holds values that are not numbers.
    """
    sound = open_sound(path)
    mixed = (np.asarray(block.mean(axis=1), np.float32) for block in sound.blocks())
    try:
        return track_companion(mixed, sound.rate_hz, meter=meter, tempo_bpm=tempo_bpm)
    except NoNumbersError:
        problem = "holds samples that are not numbers (NaN or infinity)"
        raise TakeError(path, problem, "export it again from the recording program") from None


def track_companion(
    blocks: Iterable[Floats],
    rate_hz: int,
    *,
    meter: tuple[int, int] | None = None,
    tempo_bpm: float | None = None,
) -> Pulse | None:
    """Return the beats and bars of a click or a backing.

    Samples are held for some seconds only; what grows with the length are strokes and two numbers
    each hundredth of a second. Block lengths make no difference.

    Parameters
    ----------
    blocks : iterable of ndarray, shape (n,), float32
        Mono sound from its start on, in blocks of any lengths.
    meter : (numerator, denominator), optional
        Where it is known. Felt beats are found: dotted quarters in 6/8.
    tempo_bpm : float, optional
        Felt beats a minute where known, such as the companion's own tag: it decides between a
        tempo and its half, and tells a click on 2 and 4 from one on every beat.

    Returns
    -------
    Pulse or None
        None where nothing even is heard: silence, a lone pad.

    Raises
    ------
    NoNumbersError
        If a block holds NaN or infinity.
    ValueError
        If a block is not mono.
    """
    struck: list[Strokes] = []

    def listened() -> Iterator[Floats]:
        for piece in pieces(blocks, rate_hz):
            struck.append(strokes_in(piece))
            yield spectra_in(piece)

    heard = list(activations(listened()))
    if not heard:
        return None
    click = click_in(joined(struck), meter, tempo_bpm)
    if click and click.is_one:
        return click.pulse
    return pulse_of_backing(np.concatenate(heard), meter, tempo_bpm)
