"""What takemill hears, how fast, and what it gets wrong, beside libraries that hear too.

``python -m tests.benchmark [accuracy] [speed] [hard] [mixes] [phrases] [companions]``; no
part named means all.
``making`` makes the takes, ``listeners`` hear them, ``scores`` compares, ``tables`` prints; one
module a part.
"""
