"""Where a take's sound and its beat come from."""

from typing import Annotated, Literal, Self

from pydantic import BeforeValidator, Field, StringConstraints, model_validator
from pydantic_core import PydanticCustomError

from batch.settings.values import CONTRADICTION, Section, Tempo

FileName = Annotated[
    str,
    StringConstraints(pattern=r"^[^/\\\x00]*[^/\\\x00.][^/\\\x00]*$"),
    Field(json_schema_extra={"allowed": "a file's name, without a folder"}),
]
ChartName = Annotated[
    str,
    StringConstraints(
        pattern=r"^[^/\\\x00]*[^/\\\x00.]\.([tT][xX][tT]|([mM][uU][sS][iI][cC])?[xX][mM][lL]|[mM][xX][lL])$"
    ),
    Field(json_schema_extra={"allowed": "a file's name that ends in .txt, .musicxml, .xml or .mxl"}),
]
Meter = Annotated[str, StringConstraints(pattern=r"^([1-9]|[1-2][0-9]|3[0-2])/(2|4|8|16)$")]


def _as_text(value: object) -> object:
    """Take a bar written as a number for what it means."""
    return str(value) if type(value) is int else value


_BAR = 'a bar from 1, or bar and beat: "33", "33|2", "33|2.5"'
BarBeat = Annotated[
    str,
    StringConstraints(pattern=r"^[1-9][0-9]{0,4}(\|[1-9][0-9]?(\.[0-9]{1,6})?)?$"),
    Field(json_schema_extra={"allowed": _BAR}),
    BeforeValidator(_as_text),
]
SessionSeconds = Annotated[float, Field(ge=0, le=7 * 86_400, allow_inf_nan=False)]
"""A place in a session, which lasts a week at most (our choice)."""
_WITHIN_A_DAY = Field(ge=-86_400, le=86_400, allow_inf_nan=False)


def _known_channel(value: object) -> object:
    """Refuse at once what is no channel: pydantic would complain for each kind that it is not."""
    if value in ("auto", "mix", "left", "right") or (type(value) is int and value >= 1):
        return value
    raise ValueError("no channel")


Channel = Annotated[
    Literal["auto", "mix", "left", "right"] | Annotated[int, Field(ge=1)], BeforeValidator(_known_channel)
]
"""Channels are numbered from 1, as on recorders; left is 1 and right is 2."""


class SoundSettings(Section):
    """What of a recording is heard."""

    channel: Channel = "auto"
    """``auto`` is the mix, unless a channel is silent, holds only a click, or cancels the others, or
    something is spread around a line in the middle."""


class GridSettings(Section):
    """Where the beat is. Without ``tempo_bpm`` no grid is made from the settings."""

    tempo_bpm: Tempo | None = None
    meter: Meter = "4/4"
    first_downbeat_s: Annotated[float, _WITHIN_A_DAY] = 0.0
    """Time of a first beat of a bar, from the start of the take; of the count-in's where there is one."""
    count_in_bars: Annotated[int, Field(ge=0, le=64)] = 0
    """Bars counted in before bar 1, with a tempo set here; they are bar 0, -1 and so on."""
    companion: FileName | None = None
    """A click or a backing track in the takes' folder; ``{take}`` stands for the take's name."""
    companion_starts_at_s: Annotated[float, _WITHIN_A_DAY] | None = None
    """Where in the take it starts; otherwise Broadcast Wave time references say, or both start together."""
    chart: ChartName | None = None
    """A chord chart in the takes' folder; ``{take}`` stands for the take's name. Without it
    ``NAME.chords.txt`` beside the take is its chart, or ``chords.txt``."""
    chart_from_bar: Annotated[int, Field(ge=-99_999, le=99_999)] = 1
    """The bar, as the grid counts, that the chart starts with."""
    chart_repeats: bool = False
    """Whether the chart is one chorus that starts again until the take ends, though it does not say so."""
    starts_at_s: SessionSeconds | None = None
    """Where in the session the take starts; otherwise a Broadcast Wave time reference says."""
    starts_at_bar: BarBeat | None = None
    """The same as a bar, or bar|beat, of the session's tempo map or of its tempo in these settings."""
    session_starts_at_s: Annotated[float, Field(ge=0, lt=86_400, allow_inf_nan=False)] = 0.0
    """What such a time reference reads at the session's zero, in seconds from midnight."""

    @model_validator(mode="after")
    def _says_one_thing(self) -> Self:
        for key, rivals in RIVALS.items():
            for rival in rivals:
                if {key, rival} <= self.model_fields_set:
                    problem = f"{key} and {rival} both say where the take starts; keep one of them"
                    raise PydanticCustomError(CONTRADICTION, problem)
        return self

    @property
    def bar_and_beat(self) -> tuple[int, float] | None:
        """``starts_at_bar`` as numbers, both counted from 1."""
        if self.starts_at_bar is None:
            return None
        bar, _, beat = self.starts_at_bar.partition("|")
        return int(bar), float(beat or 1)

    @property
    def meter_pair(self) -> tuple[int, int]:
        """Numerator and denominator of ``meter``."""
        numerator, denominator = self.meter.split("/")
        return int(numerator), int(denominator)


RIVALS = {
    "starts_at_bar": ("starts_at_s", "first_downbeat_s"),
    "starts_at_s": ("starts_at_bar",),
    "first_downbeat_s": ("starts_at_bar",),
}
"""Settings that say the same thing in other ways: under a pattern, each puts those inherited out of force."""
