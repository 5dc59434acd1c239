"""When a file counts as finished: pure, with a clock of numbers."""

from pathlib import Path
from threading import Event

from hypothesis import given
from hypothesis import strategies as st
from sounding import write_midi_take, write_tempo_map

from batch.catalogue import Stamp
from batch.watch import Settling, watch_folder

A, B = Path("a.wav"), Path("b.wav")


def test_a_file_that_stands_still_for_the_settle_time_is_settled():
    before = Settling().look({A: Stamp(10, 1)}, 0.0)
    now = before.look({A: Stamp(10, 1)}, 2.0)
    assert before.settled(1.9, 2.0) == frozenset()
    assert now.settled(2.0, 2.0) == {(A, Stamp(10, 1))}


def test_growth_and_a_new_time_both_start_afresh():
    grown = Settling().look({A: Stamp(10, 1)}, 0.0).look({A: Stamp(11, 1)}, 1.5)
    touched = Settling().look({A: Stamp(10, 1)}, 0.0).look({A: Stamp(10, 2)}, 1.5)
    for settling in (grown, touched):
        assert settling.settled(2.0, 2.0) == frozenset()
        assert settling.settled(3.5, 2.0) != frozenset()


def test_a_file_that_is_gone_is_forgotten():
    gone = Settling().look({A: Stamp(1, 1), B: Stamp(1, 1)}, 0.0).look({B: Stamp(1, 1)}, 1.0)
    assert set(gone.since) == {B}


@given(st.lists(st.tuples(st.floats(0.01, 5), st.integers(0, 3)), min_size=1, max_size=30))
def test_a_settled_file_has_not_changed_within_the_settle_time(looks):
    settling, now_s, history = Settling(), 0.0, []
    for pause_s, size in looks:
        now_s += pause_s
        settling = settling.look({A: Stamp(size, 0)}, now_s)
        history.append((now_s, size))
        if settling.settled(now_s, 2.0):
            unchanged_since = min(
                t for i, (t, s) in enumerate(history) if all(later == size for _, later in history[i:])
            )
            assert now_s - unchanged_since >= 2.0


class Clock:
    """Counts on by a second a look."""

    def __init__(self) -> None:
        self.now_s = 0.0

    def __call__(self) -> float:
        self.now_s += 1.0
        return self.now_s


def looks(folder: Path, count: int) -> list[list[str]]:
    """Return the names of the takes that become ready in the first reports of a watch."""
    stop = Event()
    watch = watch_folder(folder, settle_s=1.0, poll=False, stop=stop, clock=Clock())
    ready = [[path.name for path in next(watch)[0]] for _ in range(count)]
    stop.set()
    watch.close()
    return ready


def test_what_lies_there_at_the_start_is_reported_once(tmp_path):
    write_midi_take(tmp_path / "one.mid")
    write_tempo_map(tmp_path / "one.tempo.mid")
    (tmp_path / ".hidden.mid").write_bytes(b"")
    (tmp_path / "one.markers.mid").write_bytes(b"")
    assert looks(tmp_path, 2) == [[], ["one.mid"]]


def test_a_tempo_map_that_lands_later_brings_the_takes_up_again(tmp_path):
    write_midi_take(tmp_path / "one.mid")
    stop = Event()
    watch = watch_folder(tmp_path, settle_s=1.0, poll=False, stop=stop, clock=Clock())
    seen = [[path.name for path in next(watch)[0]] for _ in range(2)]
    write_tempo_map(tmp_path / "tempo.mid")
    seen += [[path.name for path in next(watch)[0]] for _ in range(1)]
    stop.set()
    watch.close()
    assert seen == [[], ["one.mid"], ["one.mid"]]
