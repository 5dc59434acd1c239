"""A take's page where something lacks: the recording, its sound, phrases, notes, scripts."""

import io
import json
import shutil
from base64 import b64decode
from dataclasses import replace

import numpy as np
import pytest
import soundfile
from building import analysis_of, take_info

from exporters.page import TakePage
from pages.making import RATE_HZ, long_take, put, take_of
from pages.playing import is_paused, now_s, pick, row, wait_until

LOST = {"recorded": False}
MIDI = take_info("take.mid", duration_s=9.0, rate_hz=None)


@pytest.fixture
def orphan(show, tmp_path):
    """Return a page whose recording is gone, once it says so."""
    page = show(put(tmp_path, take_of(), **LOST), expects="ERR_FILE_NOT_FOUND")
    page.wait_for_selector("#missing", state="visible")
    return page


def tones(page):
    """Return what plays, as samples and their rate: the page holds it as a file."""
    page.wait_for_function("() => document.getElementById('media').src.startsWith('blob:')")
    held = page.evaluate(
        """() => new Promise((done) => {
          const reader = new FileReader();
          reader.onload = () => done(reader.result.split(",")[1]);
          reader.readAsDataURL(window.lastBlob);
        })"""
    )
    return soundfile.read(io.BytesIO(b64decode(held)))


def test_a_lost_recording_is_named(orphan):
    assert "../takes/solo.wav" in orphan.locator("#missing").inner_text()
    assert orphan.locator("#missing").get_attribute("role") == "alert"


def test_without_the_recording_the_rest_works(orphan):
    pick(orphan, "groove", "against-groove")
    row(orphan, 5).click()
    assert orphan.locator("#says-head").inner_text() == "Phrase 5"
    assert orphan.locator("#count").inner_text() == "4 of 8 phrases"
    assert is_paused(orphan)


def test_the_heard_notes_play_in_its_place(orphan):
    orphan.get_by_role("button", name="Play the heard notes instead").click()
    assert orphan.locator("#tones").is_checked()
    row(orphan, 2).click()
    wait_until(orphan, "media.paused && media.currentTime > 1.9 && media.currentTime < 2.4")
    assert orphan.locator("#missing").is_hidden()


def test_the_recording_may_be_found_again(orphan, tmp_path):
    moved = tmp_path / "moved.wav"
    shutil.copy(put(tmp_path, take_of()).parents[1] / "takes" / "solo.wav", moved)
    orphan.locator("#choose").set_input_files(moved)
    orphan.wait_for_selector("#missing", state="hidden")
    assert orphan.locator("#told").inner_text() == "Plays moved.wav."
    row(orphan, 3).click()
    wait_until(orphan, "!media.paused && media.currentTime > 2.6")
    assert orphan.locator("#differs").is_hidden()


def test_another_recording_in_its_place_is_told(orphan, tmp_path):
    other = tmp_path / "other.wav"
    soundfile.write(other, np.zeros(3 * RATE_HZ), RATE_HZ)
    orphan.locator("#choose").set_input_files(other)
    orphan.wait_for_selector("#differs", state="visible")
    assert (
        orphan.locator("#differs").inner_text()
        == "What plays lasts 0:03, the take 0:09: it may be another recording."
    )


def test_a_file_that_is_no_sound_is_refused(orphan, tmp_path):
    (tmp_path / "words.wav").write_text("no sound")
    orphan.locator("#choose").set_input_files(tmp_path / "words.wav")
    orphan.wait_for_function("() => document.getElementById('media').error !== null")
    assert orphan.locator("#missing").is_visible()


def test_a_recording_that_is_back_plays_after_loading_again(orphan, tmp_path):
    put(tmp_path, take_of())
    orphan.reload()
    row(orphan, 1).click()
    wait_until(orphan, "media.currentTime > 0.6")
    assert orphan.locator("#missing").is_hidden()


def test_what_was_chosen_holds_or_is_reset_when_the_page_is_loaded_again(show, tmp_path):
    page = show(put(tmp_path, take_of()))
    pick(page, "after", "again")
    pick(page, "groove", "against-groove")
    page.locator("#speed").select_option("0.5")
    page.reload()
    state = page.evaluate(
        """() => ({
          rate: document.getElementById("media").playbackRate, speed: document.getElementById("speed").value,
          filtered: document.querySelector('input[value="against-groove"]').checked,
          count: document.getElementById("count").textContent,
        })"""
    )
    assert state["rate"] == float(state["speed"])
    assert state["count"] == ("4 of 8 phrases" if state["filtered"] else "All 8 phrases")


def test_a_midi_take_plays_its_notes_by_tones(show, tmp_path):
    page = show(put(tmp_path, take_of(take=MIDI)))
    assert "A MIDI take has no sound of its own" in page.locator("main").inner_text()
    assert page.locator("#recording").is_disabled()
    samples, rate_hz = tones(page)
    assert len(samples) / rate_hz == pytest.approx(9.2, abs=0.01)
    row(page, 2).click()
    wait_until(page, "media.paused && media.currentTime > 1.9")
    assert page.locator("#missing").is_hidden()


@pytest.mark.parametrize("pitch_midi", [45.0, 69.0, 69.37, 100.0])
def test_tones_have_the_notes_pitch_and_time(show, tmp_path, pitch_midi):
    take = take_of(
        ("long dense in", "long dense in"), take=take_info("take.mid", duration_s=2.5, rate_hz=None)
    )
    notes = tuple(replace(note, pitch_midi=pitch_midi) for note in take.notes)
    samples, rate_hz = tones(show(put(tmp_path, replace(take, notes=notes))))
    first = samples[round(0.5 * rate_hz) : round(1.0 * rate_hz)]
    spectrum = np.abs(np.fft.rfft(first * np.hanning(len(first)), 1 << 18))
    # Equal temperament, A4 at 440 Hz.
    assert spectrum.argmax() * rate_hz / (1 << 18) == pytest.approx(
        440 * 2 ** ((pitch_midi - 69) / 12), rel=2e-3
    )
    sounding = np.flatnonzero(np.abs(samples) > 0.01) / rate_hz
    assert sounding[0] == pytest.approx(0.5, abs=0.01)
    assert not np.any((sounding > 1.1) & (sounding < 1.49))


def test_notes_beyond_the_rate_are_left_out_and_none_folds_back(show, tmp_path):
    take = take_of(("long dense in",), take=take_info("take.mid", duration_s=2.0, rate_hz=None))
    high = replace(take.notes[0], pitch_midi=122.0)  # 9,397 Hz; half the tones' rate is 8,000
    samples, _ = tones(show(put(tmp_path, replace(take, notes=(high,)))))
    assert not samples.any()


def test_a_take_of_three_hours_has_duller_tones_and_one_of_five_none(show, tmp_path):
    page = show(put(tmp_path, long_take(40, 6, 270.0), **LOST), expects="ERR_FILE_NOT_FOUND")
    page.wait_for_selector("#missing", state="visible")
    page.get_by_role("button", name="Play the heard notes instead").click()
    wait_until(page, "media.duration > 10799 && media.duration < 10801")
    page = show(put(tmp_path, long_take(40, 6, 450.0), **LOST), expects="ERR_FILE_NOT_FOUND")
    page.wait_for_selector("#missing", state="visible")
    assert page.get_by_role("button", name="Play the heard notes instead").is_disabled()


def test_a_take_without_phrases_plays(show, tmp_path):
    page = show(put(tmp_path, analysis_of((), take=take_info(duration_s=3.0, rate_hz=RATE_HZ))))
    assert "No phrases were found." in page.locator("main").inner_text()
    page.keyboard.press("ArrowRight")
    page.keyboard.press(" ")
    wait_until(page, "media.currentTime > 0.1")
    assert page.locator("#tones").is_disabled()


def test_a_take_of_one_phrase_repeats_it_though_it_ends_with_the_take(show, tmp_path):
    take = take_of(("long dense in",), take=take_info(duration_s=1.0, rate_hz=RATE_HZ))
    page = show(put(tmp_path, take))
    pick(page, "after", "again")
    row(page, 1).click()
    wait_until(page, "media.currentTime > 0.9")
    wait_until(page, "media.currentTime < 0.7 && !media.paused")
    page.get_by_role("button", name="Pause").click()
    assert now_s(page) < 1


def test_a_silent_recording_has_a_flat_outline(show, tmp_path):
    take = analysis_of((), take=take_info(duration_s=3.0, rate_hz=RATE_HZ))
    page = show(put(tmp_path, take))
    assert set(
        page.evaluate("() => JSON.parse(document.getElementById('take').textContent).wave.peaks")
    ) <= set("A=")


def test_an_analysis_without_an_outline_is_drawn_from_its_notes(show, tmp_path):
    path = put(tmp_path, take_of())
    take = take_of()
    path.write_bytes(TakePage().render(replace(take, take=replace(take.take, recording="../takes/solo.wav"))))
    page = show(path)
    row(page, 1).click()
    wait_until(page, "media.currentTime > 0.6")


def test_without_scripts_phrases_are_listed_and_the_recording_plays(browser, tmp_path):
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(put(tmp_path, take_of()).as_uri())
    assert page.locator("#phrases li").count() == 8
    assert "long, sparse, against the groove" in page.locator("#phrases").inner_text()
    assert page.locator("noscript audio").get_attribute("src") == "../takes/solo.wav"
    assert page.locator("noscript audio").is_visible()
    for dead in ("#play", "#blocks", "#filters", "#says"):
        assert page.locator(dead).is_hidden()
    context.close()


def test_the_page_s_numbers_are_those_of_the_analysis(show, tmp_path):
    take = take_of()
    page = show(put(tmp_path, take))
    data = json.loads(page.locator("#take").text_content())
    assert data["notes"]["on"] == [note.onset_s for note in take.notes]
    assert [phrase["start"] for phrase in data["phrases"]] == [phrase.start_s for phrase in take.phrases]
    assert data["beats"]["bar"] == [1 + i // 4 if i % 4 == 0 else None for i in range(18)]
