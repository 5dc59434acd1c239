"""Which chapters a take has: their number, where they are cut, and what they are called."""

import time
from dataclasses import replace
from itertools import accumulate, pairwise

import pytest
from building import LABELS, analysis_of, phrases_at, take_info
from hypothesis import given
from hypothesis import strategies as st

from batch.model import Analysis, Density, Groove, LabelledPhrase, Labels, Length
from exporters.base import LONGEST, phrase_names
from exporters.chapters.chapter import Division, clock
from exporters.chapters.sections import section_title, sections_of
from exporters.chapters.takes import chapters_of

SHORT = Labels(Length.SHORT, Density.SPARSE, Groove.IN_GROOVE)


def even(count: int, rest_s: float = 1.0) -> Analysis:
    """Return a take of phrases of 2 s, a rest after each."""
    spans = [(i * (2 + rest_s), i * (2 + rest_s) + 2) for i in range(count)]
    return analysis_of(phrases_at(spans), take=take_info(duration_s=count * (2 + rest_s)))


def groups(*sizes: int) -> Analysis:
    """Return groups of phrases of 2 s, half a second between them, ten seconds between groups."""
    at_s, spans = 1.0, []
    for size in sizes:
        spans += [(at_s + i * 2.5, at_s + i * 2.5 + 2) for i in range(size)]
        at_s = spans[-1][1] + 10
    return analysis_of(phrases_at(spans), take=take_info(duration_s=at_s))


@pytest.mark.parametrize(
    ("by", "count", "chapters"),
    [("auto", 24, 24), ("auto", 25, 6), ("auto", 2000, 24), ("phrase", 2000, 2000), ("section", 24, 6),
     ("section", 3, 1), ("auto", 1, 1), ("section", 1, 1), ("auto", 0, 0), ("section", 0, 0)],
)  # fmt: skip
def test_a_take_has_phrases_while_they_are_few_else_sections(by, count, chapters):
    assert len(chapters_of(even(count), Division(by))) == chapters


def test_phrases_are_sections_where_a_file_holds_no_more():
    assert len(chapters_of(even(1000), Division("phrase"), held=999)) == 24
    assert len(chapters_of(even(999), Division("phrase"), held=999)) == 999


def test_a_phrases_chapter_is_called_as_its_marker():
    analysis = even(12)
    titles = tuple(chapter.title for chapter in chapters_of(analysis, Division()))
    assert titles == phrase_names(analysis.phrases)
    asked = Division(labels=("density",))
    assert chapters_of(analysis, asked)[6].title == "07 dense"


def test_a_chapter_lasts_until_the_next_and_the_last_until_the_end():
    chapters = chapters_of(even(3), Division())
    assert [(each.start_s, each.end_s) for each in chapters] == [(0.0, 3.0), (3.0, 6.0), (6.0, 9.0)]


def test_nothing_stands_for_what_lies_before_the_first_phrase():
    assert chapters_of(groups(5), Division())[0].start_s == 1.0


@pytest.mark.parametrize("sizes", [(12, 12, 12), (10, 14, 12), (15, 9, 12)])
def test_sections_are_cut_at_the_longest_rests(sizes):
    chapters = chapters_of(groups(*sizes), Division("section", most=3))
    first, second, _ = sizes
    numbers = [f"01-{first:02}", f"{first + 1}-{first + second}", f"{first + second + 1}-36"]
    assert [each.title.split()[0] for each in chapters] == numbers


def test_sections_of_even_phrases_are_even():
    sections = sections_of(even(2000).phrases, 24)
    assert len(sections) == 24
    assert {len(section) for section in sections} <= {83, 84}


def test_a_section_says_what_two_thirds_of_its_phrases_are():
    phrases = even(12).phrases
    turned = [replace(each, labels=replace(LABELS, density=Density.SPARSE)) for each in phrases[:4]]
    assert section_title((*turned, *phrases[4:]), range(12), ("length", "density", "groove")) == (
        "01-12 long dense against"
    )
    turned = [replace(each, labels=replace(LABELS, density=Density.SPARSE)) for each in phrases[:5]]
    assert section_title((*turned, *phrases[5:]), range(12), ("length", "density", "groove")) == (
        "01-12 long against"
    )


def test_a_section_whose_phrases_share_nothing_is_mixed():
    phrases = [replace(each, labels=(LABELS, SHORT)[i % 2]) for i, each in enumerate(even(12).phrases)]
    assert section_title(phrases, range(6), ("length", "density", "groove")) == "01-06 mixed"


@st.composite
def takes(draw: st.DrawFn) -> Analysis:
    """Draw phrases and rests of any length, in seconds."""
    lengths = draw(st.lists(st.tuples(st.floats(0.1, 20), st.floats(0, 600)), min_size=1, max_size=120))
    labels = draw(st.lists(st.sampled_from([LABELS, SHORT]), min_size=1, max_size=3))
    at_s, spans = 0.0, []
    for length_s, rest_s in lengths:
        spans.append((at_s + rest_s, at_s + rest_s + length_s))
        at_s = spans[-1][1]
    phrases = phrases_at(spans)
    shown = [replace(each, labels=labels[i % len(labels)]) for i, each in enumerate(phrases)]
    return analysis_of(tuple(shown), take=take_info(duration_s=at_s))


@given(takes(), st.sampled_from(["auto", "section"]), st.integers(2, 255))
def test_whatever_is_played_chapters_are_few_and_lie_one_after_another(analysis, by, most):
    chapters = chapters_of(analysis, Division(by, most))
    assert 1 <= len(chapters) <= most
    assert chapters[0].start_s == analysis.phrases[0].start_s
    assert chapters[-1].end_s == analysis.take.duration_s
    starts_s = {phrase.start_s for phrase in analysis.phrases}
    assert all(each.start_s in starts_s for each in chapters)
    assert all(
        one.end_s == other.start_s and one.start_ms < other.start_ms for one, other in pairwise(chapters)
    )


@given(takes(), st.sampled_from(["phrase", "section"]))
def test_whatever_is_played_titles_are_short_unlike_and_sort_as_they_lie(analysis, by):
    titles = [each.title for each in chapters_of(analysis, Division(by))]
    assert titles == sorted(set(titles))
    assert all(len(title) <= LONGEST and title.isascii() and title.isprintable() for title in titles)


def test_each_phrase_is_in_one_section():
    sections = sections_of(groups(7, 30, 2, 19).phrases, 8)
    assert [index for section in sections for index in section] == list(range(58))


def rested(rests_s: list[float]) -> tuple[LabelledPhrase, ...]:
    """Return phrases of 2 s with these rests between them."""
    starts_s = [0.0, *accumulate(2 + rest_s for rest_s in rests_s)]
    return phrases_at([(start_s, start_s + 2) for start_s in starts_s])


def test_an_hour_of_six_tries_has_six_sections():
    one_try = [1.5, 2.0, 1.5, 4.0, 1.5, 2.0, 1.5, 4.0, 1.5, 2.0]
    sections = sections_of(rested([*one_try, *[560.0, *one_try] * 5]), 24)
    assert sections == [range(at, at + 11) for at in range(0, 66, 11)]


@given(
    st.lists(st.floats(0, 5), min_size=5, max_size=300),
    st.integers(2, 255),
    st.data(),
)
def test_a_much_longer_rest_is_a_cut_and_each_phrase_in_one_section(rests_s, most, data):
    few = min(most - 1, (len(rests_s) + 1) // 3)
    breaks = data.draw(st.sets(st.integers(0, len(rests_s) - 1), max_size=few))
    rests_s = [rest_s + 60 * (at in breaks) for at, rest_s in enumerate(rests_s)]
    sections = sections_of(rested(rests_s), most)
    assert len(sections) <= most
    assert [index for section in sections for index in section] == list(range(len(rests_s) + 1))
    assert {at + 1 for at in breaks} <= {section.start for section in sections}


@given(st.lists(st.floats(1, 1.9), min_size=7, max_size=300), st.integers(2, 255))
def test_sections_are_alike_where_rests_are_and_none_is_a_phrase(rests_s, most):
    lengths = [len(section) for section in sections_of(rested(rests_s), most)]
    mean = sum(lengths) / len(lengths)
    assert min(lengths) >= max(2, mean / 3 - 1e-9)
    assert max(lengths) <= mean * 5 / 3 + 1e-9


def test_as_many_phrases_as_an_evening_has_are_parted_at_once():
    rests_s = [0.5 + index * 7919 % 1009 / 300 for index in range(1999)]
    began_s = time.process_time()
    assert len(sections_of(rested(rests_s), 255)) == 255
    assert time.process_time() - began_s < 5


def test_a_title_of_six_labels_has_as_many_as_fit():
    labels = replace(LABELS, length=Length.SHORT, groove=Groove.IN_GROOVE)
    phrases = [replace(each, labels=labels) for each in even(2000).phrases]
    title = section_title(phrases, range(1200, 1990), ("length", "density", "groove", "length", "groove"))
    assert title == "1201-1990 short dense in-groove short"


@pytest.mark.parametrize("most", [1, 0, 256])
def test_a_number_of_chapters_that_no_player_shows_is_refused(most):
    with pytest.raises(ValueError, match=f"between 2 and 255 chapters, got {most}"):
        Division(most=most)


@pytest.mark.parametrize(
    ("milliseconds", "told"), [(0, "00:00:00.000"), (59_999, "00:00:59.999"), (37_230_007, "10:20:30.007")]
)
def test_a_time_is_told_to_the_millisecond(milliseconds, told):
    assert clock(milliseconds) == told
