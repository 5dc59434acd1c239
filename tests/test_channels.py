"""Which channels of a take are heard: lines, clicks and backings built here, the answer known."""

import numpy as np
import pytest
import soundfile
from recording import RATE, tone, write_media
from scipy.signal import fftconvolve

from batch.errors import TakeError
from batch.settings import SoundSettings
from batch.takes import AudioTake, open_take

SECONDS = 12.0


def melody(seed: int = 1, note_s: float = 0.25) -> np.ndarray:
    """Return a line of harmonic tones, each decaying a little."""
    random = np.random.default_rng(seed)
    time = np.arange(round(note_s * RATE)) / RATE
    played = [
        sum(np.sin(2 * np.pi * hz * k * time) / k for k in range(1, 5)) * np.exp(-3 * time)
        for hz in 110.0 * 2 ** (random.integers(12, 36, round(SECONDS / note_s)) / 12)
    ]
    return (0.2 * np.concatenate(played)).astype(np.float32)


def click(period_s: float = 0.5, level: float = 0.5) -> np.ndarray:
    """Return a metronome: 30 ms of 1 kHz, the first of four louder."""
    sound = np.zeros(round(SECONDS * RATE), np.float32)
    time = np.arange(round(0.03 * RATE)) / RATE
    pulse = np.sin(2 * np.pi * 1000 * time) * np.exp(-time / 0.01)
    for number, start in enumerate(np.arange(0.2, SECONDS - 0.1, period_s)):
        first = round(start * RATE)
        sound[first : first + len(pulse)] += pulse * level * (1.0 if number % 4 == 0 else 0.6)
    return sound


def noise(level: float, seed: int = 9) -> np.ndarray:
    return np.random.default_rng(seed).normal(0, level, round(SECONDS * RATE)).astype(np.float32)


def backing() -> np.ndarray:
    """Return three lines at once and something like a drum kit."""
    return sum(melody(seed, 0.5) for seed in (5, 6, 7)) / 2 + click(0.25) + noise(0.02)


def opened(path, *channels, wanted="auto") -> AudioTake:
    soundfile.write(path, np.stack(channels, axis=1), RATE, subtype="FLOAT")
    take = open_take(path, "", SoundSettings(channel=wanted))
    assert isinstance(take, AudioTake)
    return take


SILENCE = np.zeros(round(SECONDS * RATE), np.float32)
HALL = np.roll(melody(), RATE // 90) * 0.7 + noise(1e-3)


@pytest.mark.parametrize(
    ("channels", "heard", "said"),
    [
        ([melody(), melody()], (0, 1), None),
        ([melody(), HALL], (0, 1), None),
        ([melody(), melody(2)], (0, 1), None),
        ([melody(), melody() * 0.1], (0, 1), None),
        ([SILENCE, SILENCE], (0, 1), None),
        ([click(), click()], (0, 1), None),
        ([melody(), SILENCE], (0,), "channel 2 holds next to nothing"),
        ([noise(1e-4), melody()], (1,), "channel 1 holds next to nothing"),
        ([melody(), click()], (0,), "channel 2 holds only a click"),
        ([click(0.31, 0.05), melody()], (1,), "channel 1 holds only a click"),
        ([melody(), backing()], (0,), "channel 2 holds something else than a single line"),
        ([melody(), -melody()], (0,), "cancel one another"),
        ([melody(), -0.8 * melody() + noise(1e-4)], (0,), "cancel one another"),
        ([SILENCE, click(), melody(), melody()], (2, 3), "channel 1 holds next to nothing; channel 2 holds"),
        ([melody(), *[SILENCE] * 7], (0,), "channels 2, 3, 4, 5, 6, 7 and 8 hold next to nothing"),
        ([melody(seed) for seed in range(8)], tuple(range(8)), None),
    ],
    ids=[
        "same", "room", "two lines", "one quiet", "silence", "two clicks", "right silent", "left noise",
        "right click", "left quiet click", "backing", "opposite", "nearly opposite", "four", "eight",
        "eight lines",
    ],
)  # fmt: skip
def test_what_is_heard_of_a_take_by_itself(tmp_path, channels, heard, said):
    choice = opened(tmp_path / "take.wav", *channels).choice
    assert choice.channels == heard
    if said is None:
        assert choice.reason is None
    else:
        assert choice.reason is not None
        assert said in choice.reason and "sound.channel in takemill.toml" in choice.reason


def spread(seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Return three lines at once on one side and three others on the other."""
    return sum(melody(seed + i, 0.5) for i in range(3)), sum(melody(seed + 3 + i, 0.5) for i in range(3))


@pytest.mark.parametrize("level", [0.2, 0.4])
def test_a_line_in_the_middle_of_what_is_spread_around_it_is_heard_alone(tmp_path, level):
    left, right = spread(20)
    take = opened(tmp_path / "take.wav", melody() + level * left, melody() + level * right)
    assert take.choice.middle and "left and right have in common" in take.choice.reason
    heard = np.concatenate(list(take.blocks()))
    assert len(heard) == len(left)
    rest = {
        name: float(np.mean((samples - melody()) ** 2))
        for name, samples in (("middle", heard), ("mix", melody() + level * (left + right) / 2))
    }
    assert rest["middle"] < rest["mix"] / 2  # at least 3 dB less of the backing


def room(sound: np.ndarray, seed: int) -> np.ndarray:
    tail = np.random.default_rng(seed).standard_normal(RATE // 3) * np.exp(
        -np.arange(RATE // 3) / (0.05 * RATE)
    )
    return np.asarray(fftconvolve(sound, tail / np.sqrt(np.sum(tail**2)))[: len(sound)], np.float32)


@pytest.mark.parametrize(
    "channels",
    [
        (melody(), melody()),
        (melody(), 0.5 * melody()),
        (melody() + 0.3 * room(melody(), 1), melody() + 0.3 * room(melody(), 2)),
    ],
    ids=["mono", "panned", "room"],
)
def test_a_line_with_nothing_but_its_own_room_around_it_is_heard_whole(tmp_path, channels):
    choice = opened(tmp_path / "take.wav", *channels).choice
    assert not choice.middle and choice.reason is None


def test_the_middle_is_not_heard_if_the_mix_is_asked_for(tmp_path):
    left, right = spread(30)
    channels = melody() + 0.4 * left, melody() + 0.4 * right
    assert opened(tmp_path / "take.wav", *channels).choice.middle
    assert not opened(tmp_path / "take.wav", *channels, wanted="mix").choice.middle


@pytest.mark.parametrize(
    ("wanted", "gains"), [("left", (1, 0)), ("right", (0, 1)), (1, (1, 0)), (2, (0, 1)), ("mix", (0.5, 0.5))]
)
def test_a_channel_asked_for_is_heard_without_a_word(tmp_path, wanted, gains):
    left, right = melody(), -0.5 * click()
    take = opened(tmp_path / "take.wav", left, right, wanted=wanted)
    assert take.choice.reason is None
    np.testing.assert_allclose(
        np.concatenate(list(take.blocks())), gains[0] * left + gains[1] * right, atol=1e-6
    )


@pytest.mark.parametrize(("wanted", "count"), [("right", 1), (3, 2), (65, 64)])
def test_a_channel_that_is_not_there_is_one_line(tmp_path, wanted, count):
    with pytest.raises(
        TakeError, match=f"has {count} channels?, and sound.channel asks for {wanted}; set it"
    ):
        opened(tmp_path / "take.wav", *[tone(0.1)] * count, wanted=wanted)


def test_a_phone_recording_with_a_click_on_one_side_is_heard_on_the_other(tmp_path):
    path = write_media(tmp_path / "take.m4a", [click(), melody()], "aac")
    take = open_take(path, "")
    assert isinstance(take, AudioTake)
    assert take.choice.channels == (1,)


def test_not_numbers_on_a_channel_that_is_not_heard_do_no_harm(tmp_path):
    broken = click()
    broken[RATE // 2] = np.nan
    take = opened(tmp_path / "take.wav", melody(), broken, wanted="left")
    np.testing.assert_allclose(np.concatenate(list(take.blocks())), melody(), atol=1e-6)


@pytest.mark.parametrize("seconds", [0.0001, 0.01, 0.3])
def test_a_take_too_short_to_judge_is_mixed(tmp_path, seconds):
    take = opened(tmp_path / "take.wav", tone(seconds), tone(seconds))
    assert take.choice.channels == (0, 1)
