"""Where labels turn, and what is made of phrases: all that the analysis depends on."""

from typing import Annotated, Self

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from batch.settings.values import CONTRADICTION, Positive, Section, Share


class LabelSettings(Section):
    """Where one label turns into the other: for length, density and interval size the corpus medians."""

    long_from_beats: Positive = 6.5
    long_from_s: Positive = 2.5
    dense_from_per_beat: Positive = 1.94
    dense_from_per_s: Positive = 5.8
    legato_from: Share = 0.7
    """Note duration over inter-onset interval: half way from staccato as commonly taught, half of the written
    value (common practice, no source), to the corpus median, 0.86; one corpus phrase in thirteen has less."""
    low_below: Share = 0.333
    high_from: Share = 0.667
    """Thirds of the range that the take uses; of corpus phrases 19 % lie in the lower, 26 % in the upper."""
    leaps_from: Share = 0.4
    """Share of intervals over two semitones; the corpus median."""
    borderline: Share = 0.1
    """A label this close to its threshold, as a share of it, is called borderline (our choice)."""

    @model_validator(mode="after")
    def _low_lies_below_high(self) -> Self:
        if self.low_below > self.high_from:
            problem = "low_below must not lie above high_from"
            raise PydanticCustomError(CONTRADICTION, problem)
        return self


class GrooveSettings(Section):
    """When a phrase rubs against the groove."""

    syncopation_from: Share = 0.4
    """Share of syncopated notes; the corpus quartiles are 0.08, 0.17, 0.28; a phrase in ten has more."""
    syncopated_notes_from: Annotated[int, Field(ge=1)] = 2
    """Fewer are a lone anticipation, which is common practice in the groove (no source)."""
    syncopated_run_from: Positive = 4.5
    """So many syncopated notes together, more than a bar of off-beats: one corpus phrase in twenty."""
    grouping_from: Positive = 5.0
    """Nats by which a group or tuplet across the beat is likelier than none: 3.8 % of the corpus' phrases."""
    off_grid_from: Share = 0.27
    """Distance from the grid in tatums; 0 on it, 0.25 by chance; one corpus phrase in a hundred."""
    confidence_from: Share = 0.8
    """A grid less sure than this leaves the groove unmeasured."""


class HeldSettings(Section):
    """When a note is held, by its take's own standard."""

    long_from_medians: Annotated[float, Field(gt=1, allow_inf_nan=False)] = 3.0
    """Times the median of the take's note durations (our choice): with what follows, one corpus note in
    fifty is held by its length."""
    long_from_deviations: Positive = 2.5
    """And so many robust standard deviations above it, of the logarithms, so that a ballad of long notes has
    not every one held (median and MAD at 2.5: Leys and others 2013, J. Exp. Soc. Psychol. 49(4), from
    memory)."""
    long_from_s: Positive = 0.5
    """Shorter is held in nobody's ears, however fast the take is (our choice)."""
    repeated_from: Annotated[int, Field(ge=2)] = 4
    """One pitch struck so often in a row: thrice in one corpus phrase of eleven, four times in one of 26."""
    emphasised_from_db: Positive = 6.0
    """Louder than the notes around it by a dynamic mark or so (our choice)."""
    emphasised_from_medians: Annotated[float, Field(gt=1, allow_inf_nan=False)] = 1.5
    """Times the median duration from which a loud note is one that stays, not an accent (our choice)."""


Weight = Annotated[float, Field(ge=0, le=100, allow_inf_nan=False)]


class TensionSettings(Section):
    """What makes tension, and how much it must change to be told.

    Each part of a phrase lies between 0 and 1, and its tension is their weighted mean; parts that were not
    measured drop out, and so does a part whose weight is 0. No listening experiment has all of these parts
    side by side for solos, so that no weight pretends to be exact.
    """

    groove_weight: Weight = 1.0
    """Rubbing against the meter is dissonance in time (Krebs 1999, "Fantasy Pieces"); as much as any part."""
    density_weight: Weight = 1.0
    """More onsets are tenser (Krumhansl 1996, Music Perception 13(3); Farbood 2012, 29(4); from memory)."""
    register_weight: Weight = 1.0
    """Higher is tenser (the same two studies, from memory)."""
    dynamics_weight: Weight = 1.0
    """Louder is tenser, in many studies the most of all (Granot & Eitan 2011, Music Perception 28(3), from
    memory); no more than the others here, for a player who turns moves the level too."""
    held_weight: Weight = 0.5
    """A note that will not move on asks for release (common practice, no source); half, because most phrases
    hold none and would pull the rest down."""
    harmony_weight: Weight = 0.5
    """With a chord chart, how far from the chords the notes stay. Among the strongest parts for listeners
    (Farbood 2012, from memory); half, because a line passes through notes that no chord has."""
    smoothed_s: Positive = 2.0
    """Standard deviation of the window that the curve is smoothed over; Farbood's model takes attention to
    span about 3 s (2012, from memory)."""
    build_from: Share = 0.2
    """Rise, from phrase to phrase smoothed over three, that is a build. With this and the next ones a minute
    of corpus solos has 0.5 builds, 1.2 peaks and 0.6 releases; in any other order it has nearly as many."""
    build_phrases: Annotated[int, Field(ge=2)] = 3
    """Phrases that it takes at least: two are a contrast (our choice)."""
    peak_from: Share = 0.15
    """Prominence of a peak of that curve."""
    release_from: Share = 0.25
    """Drop from a peak, from phrase to phrase, that is a release."""
    release_phrases: Annotated[int, Field(ge=1)] = 2
    """Phrases after the peak within which it drops (our choice)."""

    @model_validator(mode="after")
    def _something_weighs(self) -> Self:
        parts = ("groove", "density", "register", "dynamics", "held", "harmony")
        if not any(getattr(self, f"{name}_weight") for name in parts):
            raise PydanticCustomError(CONTRADICTION, "one weight at least must lie above 0")
        return self


class VarietySettings(Section):
    """How the variety score is taken."""

    phrases_from: Annotated[int, Field(ge=2)] = 4
    """Fewer phrases get no score."""
    resamples: Annotated[int, Field(ge=50, le=10_000)] = 400
    """Bootstrap resamples (Efron & Tibshirani 1993: 200 or more for a standard error, from memory)."""
    interval: Annotated[float, Field(gt=0, lt=1)] = 0.8
    """Share of the resamples between ``low`` and ``high``."""


class RelationSettings(Section):
    """When a phrase varies an earlier one, and when it may answer the one before."""

    look_back: Annotated[int, Field(ge=1, le=512)] = 64
    """Earlier phrases that are compared: with 8, one in nine of the variations found in annotated solos is
    lost, and hardly one lies further back than 64."""
    by_chance: Annotated[float, Field(gt=0, le=0.2)] = 0.015
    """Share of phrases that may be called variations though they are none: of phrases among those of other
    solos, 1.5 % are."""
    answer_gap_s: Annotated[float, Field(gt=0, le=60, allow_inf_nan=False)] = 2.0
    """A longer silence ends the conversation; one corpus rest between phrases in twenty is longer."""
