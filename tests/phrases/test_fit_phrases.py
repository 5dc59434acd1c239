"""Fitting again, on a corpus made up here whose phrases are plain."""

import gzip
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from lines import improvised

from batch.fit_phrases import abutting, best_threshold, fit, main, read_corpus
from batch.phrases import PhraseModel, split_phrases


@pytest.fixture(scope="module")
def corpus(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder of twelve made-up solos; solo 3 has rows out of order."""
    folder = tmp_path_factory.mktemp("corpus")
    rows, beats = ["solo,onset_s,duration_s,pitch,phrase,bar"], ["solo,onset_s,bar,beat"]
    for solo in range(12):
        notes, starts = improvised(100 + solo)
        phrase = np.cumsum([i in starts for i in range(len(notes))])
        lines = [
            f"{solo},{n.onset_s},{n.offset_s - n.onset_s},{n.pitch_midi},{p},1"
            for n, p in zip(notes, phrase, strict=True)
        ]
        rows += lines[::-1] if solo == 3 else lines
        beats += [f"{solo},{0.5 * beat},1,1" for beat in range(20)]
    for name, table in (("notes", rows), ("beats", beats)):
        (folder / f"{name}.csv.gz").write_bytes(gzip.compress("\n".join(table).encode()))
    return folder


@pytest.fixture(scope="module")
def refitted(corpus: Path) -> PhraseModel:
    return fit(read_corpus(corpus), date(2020, 2, 29))


def test_a_corpus_is_read_in_order_of_onset(corpus):
    solos = read_corpus(corpus)
    notes, starts = improvised(103)
    assert len(solos) == 12
    assert solos[3].onset_s.tolist() == pytest.approx([n.onset_s for n in notes])
    assert solos[3].beat_s == 0.5
    assert {0, *(np.flatnonzero(solos[3].starts()) + 1).tolist()} == starts


@pytest.mark.parametrize("joined", [False, True])
def test_a_refitted_model_splits_a_line_it_has_not_seen(refitted, joined):
    notes, starts = improvised(999)
    if joined:
        following = [n.onset_s for n in notes[1:]] + [notes[-1].offset_s]
        notes = [replace(n, offset_s=end) for n, end in zip(notes, following, strict=True)]
    found = {phrase.first_note for phrase in split_phrases(notes, beat_s=0.5, model=refitted)}
    f = 2 * len(found & starts) / (len(found) + len(starts))
    assert f > 0.95, f"F {f:.3f}"


def test_a_refitted_model_says_how_it_was_made(refitted):
    assert refitted.provenance["fitted_on"] == "2020-02-29"
    assert refitted.provenance["solos"] == 12
    assert refitted.provenance["phrases"] == 240
    assert float(refitted.provenance["f_by_rests_on_solos_left_out"]) > 0.95


def test_the_command_writes_the_model_it_fitted(corpus, refitted, tmp_path):
    main([str(corpus), "--out", str(tmp_path / "model.json")])
    written = PhraseModel.model_validate_json((tmp_path / "model.json").read_text("utf-8"))
    assert (written.by_rests, written.by_spacing) == (refitted.by_rests, refitted.by_spacing)


def test_the_best_threshold_by_hand():
    # Cuts after 1, 2, 3, 4 of the likeliest: F = 2/4, 2*2/5 (hits 2 of 2), 2*2/6, 2*3/7 = 0.857.
    score = best_threshold(np.array([0.9, 0.1, 0.8, 0.4, 0.6]), np.array([True, False, True, True, False]))
    assert score.f == pytest.approx(6 / 7)
    assert score.threshold == pytest.approx((0.4 + 0.1) / 2)


def test_abutting_leaves_no_rest(corpus):
    solo = read_corpus(corpus)[0]
    joined = abutting(solo)
    assert np.array_equal(joined.offset_s[:-1], solo.onset_s[1:])
    assert np.array_equal(joined.starts(), solo.starts())
