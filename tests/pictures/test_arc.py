"""The line of tension, read back from what is drawn."""

import re

from batch.model import PhraseTension, Tension
from exporters.pictures.arc import arc
from exporters.pictures.rows import Row
from exporters.pictures.svg import LEFT
from exporters.pictures.systems import System

SYSTEM = System(Row(10.0, 20.0), per_s=10.0, top=100.0, base=140.0, captions=())


def drawn(times_s, curve):
    tension = Tension(tuple(times_s), tuple(curve), (PhraseTension(0.5),))
    return list(arc(tension, SYSTEM))


def points(line):
    return [tuple(map(float, pair)) for pair in re.findall(r"([\d.]+) ([\d.]+)", line)]


def test_no_tension_runs_on_the_base_line_and_all_of_it_at_the_top():
    halo, line = drawn([10.0, 15.0, 20.0], [0.0, 0.5, 1.0])
    assert points(line) == [(LEFT, 140.0), (LEFT + 50, 120.0), (LEFT + 100, 100.0)]
    assert points(halo) == points(line)


def test_a_system_draws_what_lies_in_its_time():
    _, line = drawn([0.0, 9.9, 11.0, 19.0, 20.1], [1.0] * 5)
    assert [x for x, _ in points(line)] == [LEFT + 10, LEFT + 90]


def test_one_point_is_no_line():
    assert drawn([0.0, 15.0, 30.0], [0.2, 0.4, 0.6]) == []
