"""Settings: defaults, patterns, and explanations of mistakes."""

import pytest

from batch.errors import SettingsError
from batch.folder import brief, forget_settings
from batch.settings import Settings
from batch.settings_file import load_settings


def loaded(tmp_path, text):
    (tmp_path / "takemill.toml").write_text(text, encoding="utf-8")
    return load_settings(tmp_path)


def test_no_file_means_the_defaults(tmp_path):
    assert load_settings(tmp_path) == Settings()


def test_a_pattern_overrides_only_what_it_says(tmp_path):
    settings = loaded(tmp_path, '[grid]\ntempo_bpm=120\nmeter="3/4"\n[takes."*slow*"]\ntempo_bpm=60\n')
    assert settings.grid_for("a slow one.wav").tempo_bpm == 60
    assert settings.grid_for("a slow one.wav").meter == "3/4"
    assert settings.grid_for("quick.wav").tempo_bpm == 120


def test_of_two_patterns_that_match_the_later_wins(tmp_path):
    settings = loaded(tmp_path, '[takes."a*"]\ntempo_bpm=100\n[takes."*b"]\ntempo_bpm=200\n')
    assert settings.grid_for("ab").tempo_bpm == 200


def test_every_mistake_gets_its_own_line(tmp_path):
    with pytest.raises(SettingsError) as told:
        loaded(tmp_path, "[grid]\ntempo_bpm = 0\n[watch]\nsettle_s = -1\n")
    lines = str(told.value).splitlines()
    assert len(lines) == 2
    assert all(line.startswith(str(tmp_path / "takemill.toml")) for line in lines)


def test_a_mistake_under_a_pattern_names_the_key_it_is_close_to(tmp_path):
    with pytest.raises(SettingsError, match="did you mean meter"):
        loaded(tmp_path, '[takes."x"]\nmetre = "4/4"\n')


def test_a_file_that_is_not_utf8_is_named(tmp_path):
    (tmp_path / "takemill.toml").write_bytes(b'[grid]\nmeter = "\xff"\n')
    with pytest.raises(SettingsError, match="not UTF-8"):
        load_settings(tmp_path)


def test_a_byte_order_mark_does_not_matter(tmp_path):
    (tmp_path / "takemill.toml").write_bytes(b"\xef\xbb\xbf[grid]\ntempo_bpm = 99\n")
    assert load_settings(tmp_path).grid.tempo_bpm == 99


@pytest.mark.parametrize("section", ["page", "picture"])
def test_what_is_written_besides_is_off_unless_it_is_set_and_no_reason_to_hear_a_take_again(
    tmp_path, section
):
    assert not getattr(Settings(), section).write
    forget_settings()
    before = brief(tmp_path / "take.wav")
    assert getattr(loaded(tmp_path, f"[{section}]\nwrite = true\n"), section).write
    forget_settings()
    after = brief(tmp_path / "take.wav")
    assert after.recipe == before.recipe
    assert after.rendition != before.rendition


@pytest.mark.parametrize("section", ["page", "picture"])
def test_a_page_or_picture_is_written_or_not(tmp_path, section):
    with pytest.raises(SettingsError, match=f"{section}.write.*true or false"):
        loaded(tmp_path, f'[{section}]\nwrite = "yes"\n')
