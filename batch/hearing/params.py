"""Every number the ear depends on, with its unit and where it comes from.

"Rendered solos" are annotated jazz solos played by sampled instruments of many kinds, dry,
noisy, reverberant, with a band bleeding in and with vibrato and bends; values marked so were
fitted on some of the sounds and checked on others.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class HearingParams:
    """Settings of the way from samples to notes. Frames are ``hop`` samples apart."""

    # Time and frequency resolution.
    rate_hz: int = 22_050  # partials over 10 kHz tell nothing about notes
    hop: int = 128  # samples, 5.8 ms: a tenth of the shortest note looked for
    pitch_window: int = 768  # samples, 35 ms: two periods of the lowest pitch
    flux_window: int = 512  # samples, 23 ms: half the shortest note looked for
    level_window: int = 256  # samples, 12 ms: follows a release, not a period of a high note
    chunk_s: float = 72.0  # s of sound worked on at once: bounds memory
    overlap_s: float = 10.0  # s heard twice, so that neighbouring chunks can agree where to join

    # Pitch salience: generalised autocorrelation (Tolonen & Karjalainen 2000).
    lowest_midi: int = 28  # E1, 41 Hz: the lowest string of a bass
    highest_midi: int = 100  # E7, over the top of every lead instrument but the piccolo
    pitch_low_hz: float = 50.0  # below it, rumble
    pitch_high_hz: float = 5_000.0  # above it, partials of wind and string tones are noise
    long_window: int = 1536  # samples, 70 ms: nearly three periods of the lowest pitch
    long_below_midi: int = 40  # E2: below it pitch_window holds less than three periods
    long_low_hz: float = 35.0  # below it, rumble under the lowest pitch
    period_dip: float = 0.5  # a lag is a period once the function fell below this share (rendered solos)
    octave_lift: float = 0.02  # salience an octave: of two fitting periods take the shorter (rendered solos)

    # Onset strength: log flux with a maximum filter (Böck & Widmer 2013, SuperFlux).
    bands: int = 72  # half-semitone-like at the top, one bin at the bottom
    band_low_hz: float = 60.0
    band_high_hz: float = 10_000.0
    flux_lag: int = 2  # frames: attack of a struck string
    flux_top_db: float = 30.0  # rise of one band that counts at most (rendered solos)
    band_floor_db: float = -65.0  # against the loudest band: below it, silence
    band_noise_margin_db: float = 8.0  # over the band's own noise floor (rendered solos)
    level_weight: float = 0.6  # a rise of level against a rise of bands (rendered solos)
    onset_floor: float = 0.14  # strength of the weakest onset (rendered solos)
    onset_over_mean: float = 0.9  # ... plus this much of the local mean strength (rendered solos)

    # Silence, dB.
    silence_db: float = -45.0  # against the playing level
    noise_margin_db: float = 6.0  # over the noise floor
    drop_db: float = 9.0  # below its recent loudest, a note has been let go (rendered solos)

    # The dynamic program's costs, in units of salience frames (rendered solos).
    new_note_cost: float = 1.5
    again_cost: float = 2.6
    onset_reward: float = 4.0
    pitch_weight: float = 1.5
    pitch_floor: float = 0.62  # mean salience under which silence explains a frame better
    gap_weight: float = 0.3

    # What is a note, and which.
    shortest_frames: int = 3  # 17 ms: the dynamic program's shortest span looked at
    begin_log_odds: float = -1.5  # a span may begin a note: the second look is stricter (rendered solos)
    belongs_log_odds: float = -1.0  # a note of the line lost costs more than one too many (rendered solos)
    least_sure: float = 0.05  # what has hardly a pitch is a hiss, a breath or a key (rendered solos)
    run_on_frames: int = 8  # 46 ms of silence, after which a span that begins no note is nobody's
    leap_cost: float = 0.2  # log-odds a semitone of leap beyond leap_free
    leap_free: int = 7  # semitones: up to a fifth is a step like any other

    # When it starts and ends.
    shortest_s: float = 0.030  # s, shortest note written
    onset_bias_s: float = -0.008  # s, mean lag of the peak behind the stroke (rendered solos)


DEFAULTS = HearingParams()
