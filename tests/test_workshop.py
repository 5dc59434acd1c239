"""An output folder made ready: what is made, and what is not made again."""

import pytest

from batch.errors import BatchError
from batch.workshop import Workshop
from exporters import files_of


def test_a_watched_folder_that_was_moved_away_is_not_made_again_for_its_output_folder(tmp_path):
    takes = tmp_path / "takes"
    takes.mkdir()
    workshop = Workshop(takes / "markers", files_of, print)
    with workshop.catalogue() as catalogue:
        assert catalogue.is_empty()
    takes.rename(tmp_path / "away")
    with pytest.raises(BatchError, match="cannot be written to"), workshop.catalogue():
        pass
    assert not takes.exists()


def test_an_output_folder_is_made_with_what_it_lies_in_the_first_time(tmp_path):
    workshop = Workshop(tmp_path / "deep" / "deeper", files_of, print)
    with workshop.catalogue():
        pass
    assert workshop.stands()
    assert [path.name for path in workshop.out.iterdir()] == ["catalogue.sqlite"]
