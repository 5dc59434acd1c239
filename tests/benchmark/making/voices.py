"""What a hard case is played on: our own synthesis, and the bank's instruments where there is one."""

from dataclasses import dataclass

import numpy as np

from .banks import bank, events_of, on_bank
from .takes import Line
from .tones import BELL, DRIVEN, FLUTE, HOLLOW, REED, STRING, VOICE, Sound, Timbre, line_of

TAIL_S = 0.6


@dataclass(frozen=True, slots=True)
class Voice:
    """A name, the MIDI pitch its lines lie around, and a timbre of ours or a General MIDI program."""

    name: str
    centre: int
    sound: Timbre | int

    @property
    def there(self) -> bool:
        """Whether it can be played here."""
        return isinstance(self.sound, Timbre) or bank() is not None

    @property
    def timbre(self) -> Timbre:
        """The timbre, for cases that only our own synthesis can make."""
        if not isinstance(self.sound, Timbre):
            raise TypeError(f"{self.name} is sampled: this case needs a timbre")
        return self.sound


OUR_STRING, OUR_REED = Voice("string", 60, STRING), Voice("reed", 60, REED)
OUR_HOLLOW, OUR_DRIVEN = Voice("hollow", 60, HOLLOW), Voice("driven", 60, DRIVEN)
OUR_FLUTE, OUR_VOICE, OUR_BELL = Voice("flute", 74, FLUTE), Voice("voice", 57, VOICE), Voice("bell", 67, BELL)
GUITAR, STEEL, DISTORTED = (
    Voice("jazz guitar", 60, 26),
    Voice("steel guitar", 60, 25),
    Voice("distorted", 58, 30),
)
TENOR, ALTO, TRUMPET = Voice("tenor", 58, 66), Voice("alto", 63, 65), Voice("trumpet", 66, 56)
PIANO, BASS, VIBRAPHONE = Voice("piano", 64, 0), Voice("bass", 36, 33), Voice("vibraphone", 69, 11)
VIOLIN, PICCOLO = Voice("violin", 72, 40), Voice("piccolo", 90, 72)


def play(rng: np.random.Generator, line: Line, voice: Voice) -> Sound:
    """Return ``line`` on ``voice``."""
    if isinstance(voice.sound, Timbre):
        return line_of(line, voice.sound)
    return on_bank(events_of(rng, line, voice.sound), float(line[-1, 1]) + TAIL_S)
