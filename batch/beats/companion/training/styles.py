"""What bands play in a bar: on which parts of it drums, bass and chords may fall, and how often.

Patterns are from memory, as band method books teach them.
"""

from dataclasses import dataclass

KICK, STICK, SNARE, CLOSED, PEDAL, OPEN, CRASH, RIDE = 36, 37, 38, 42, 44, 46, 49, 51
SHAKER, CLAVE, TAMBOURINE, COWBELL, HIGH_CONGA, LOW_CONGA, HIGH_TOM, LOW_TOM = 70, 75, 54, 56, 62, 64, 48, 43

Voice = dict[int, str]
"""By drum: a letter for every part of the bar: X always, x mostly, o sometimes, . seldom or never."""


@dataclass(frozen=True, slots=True)
class Style:
    """What a band may play in a bar. ``parts`` to a beat; drums and the others as letters for each part."""

    name: str
    tempo_bpm: tuple[float, float]
    beats: int
    parts: int
    drums: tuple[Voice, ...]
    bass: tuple[str, ...]
    chords: tuple[str, ...]
    swings: bool = False
    chord_beats: tuple[int, ...] = ()


RIDE_SWING = "X..X.xX..X.x"
STYLES = (
    Style(
        "swing", (90, 300), 4, 3,
        (
            {RIDE: RIDE_SWING, PEDAL: "...X.....X..", KICK: "o..o..o..o.o", SNARE: "..o....oo..o"},
            {RIDE: "X..X..X..X..", PEDAL: "...X.....X..", SNARE: "........o..o"},
            {CLOSED: RIDE_SWING, STICK: "...o.....X..", KICK: "X..o..x..o.."},
            {RIDE: RIDE_SWING, PEDAL: "...X.....X..", KICK: "............"},
        ),
        ("X..X..X..X..", "X..X.oX..X.o", "X.....X.....", "X.....X..x.."),
        ("x....x..o...", "..x..o..x..o", "x.....o..x..", "...x.....x..", "X..X..X..X..", "o.x..o...o.x"),
        swings=True, chord_beats=(4, 4, 8, 2),
    ),
    Style(
        "ballad", (48, 92), 4, 3,
        (
            {SNARE: "x..x..x..x..", PEDAL: "...X.....X..", KICK: "o.....o....."},
            {RIDE: "X..X.oX..X.o", PEDAL: "...X.....X..", STICK: ".........o.."},
            {CLOSED: "X.XX.XX.XX.X", SNARE: "...X.....X..", KICK: "X....oX....."},
        ),
        ("X.....X.....", "X..x..X..x..", "X....ox....."),
        ("X...........", "X.....X.....", "x....ox....o", "X.oX.oX.oX.o"),
        swings=True, chord_beats=(4, 2),
    ),
    Style(
        "straight ballad", (52, 96), 4, 4,
        (
            {CLOSED: "X.x.X.x.X.x.X.x.", STICK: "....X.......X...", KICK: "X.....o.x.o....."},
            {CLOSED: "xxxxxxxxxxxxxxxx", SNARE: "....X.......X...", KICK: "X......oX......."},
            {RIDE: "X...X...X...X...", SNARE: "....X.......X...", KICK: "X.......X.o....."},
        ),
        ("X.......x.......", "X.....x.X.......", "X...x...X...x..."),
        ("X...............", "X...X...X...X...", "X.x.X.x.X.x.X.x.", "X.......X..."+"...."),
        chord_beats=(4, 2),
    ),
    Style(
        "bossa", (96, 190), 4, 2,
        (
            {CLOSED: "XXXXXXXX", KICK: "X..XX..X", STICK: "X..X..X."},
            {SHAKER: "XxXxXxXx", KICK: "X..xX..x", STICK: "..X..X..", PEDAL: "..X...X."},
            {CLAVE: "X..X..X.", SHAKER: "XXXXXXXX", LOW_CONGA: "......xx"},
            {RIDE: "XxXxXxXx", PEDAL: "..X...X.", KICK: "X..XX..X", STICK: "o.oo..o."},
        ),
        ("X..XX..X", "X..xX...", "X...X..x"),
        ("x..x..x.", ".x.x..x.", "X.x..x.x", "o.xo.x.o", "x.xx.x.x"),
        chord_beats=(4, 8),
    ),
    Style(
        "latin", (140, 240), 4, 2,
        (
            {COWBELL: "X.XxX.XX", HIGH_CONGA: "..X...X.", LOW_CONGA: "......XX", KICK: "...X...x"},
            {CLAVE: "X..X..X...X.X...", COWBELL: "X.X.X.X.X.X.X.X.", LOW_CONGA: "......XX......XX"},
            {CLOSED: "X.XXX.XX", SNARE: "...o..X.", KICK: "...X...X", LOW_TOM: "......xx"},
        ),
        ("...X..X.", "X..X..X.", "X..x..xo"),
        ("X.XX.X.X", "XX.X.X.X", ".XX.XX.X", "x..x..x."),
        chord_beats=(4, 4, 8),
    ),
    Style(
        "rock", (78, 185), 4, 2,
        (
            {CLOSED: "XXXXXXXX", SNARE: "..X...X.", KICK: "X...X..."},
            {CLOSED: "XXXXXXXX", SNARE: "..X...X.", KICK: "X..xXo.."},
            {RIDE: "X.X.X.X.", SNARE: "..X...X.", KICK: "X..oX..o"},
            {CLOSED: "X.X.X.X.", SNARE: "..X...X.", KICK: "X..xo..o"},
            {OPEN: "X.X.X.X.", SNARE: "..X...X.", KICK: "X.X.X.X."},
            {SNARE: "..X...X.", KICK: "X..oX...", TAMBOURINE: "XxXxXxXx"},
        ),
        ("XXXXXXXX", "X..xX..x", "X...X...", "X.xxX.xx"),
        ("X...X...", "XXXXXXXX", "X..X..X.", "..X...X.", "X...........o..."[:8], "XxXxXxXx"),
        chord_beats=(4, 2, 4),
    ),
    Style(
        "half time", (62, 105), 4, 4,
        (
            {CLOSED: "X.X.X.X.X.X.X.X.", SNARE: "....X.......X...", KICK: "X.....X.x.o....."},
            {CLOSED: "X.X.X.XxX.X.X.Xx", SNARE: "....X.......X...", KICK: "X..X....oox....."},
        ),
        ("X.....x.X.......", "X..x..x.X...o..."),
        ("X.......X.......", "..X...X...X...X.", "X...X...X...X..."),
        chord_beats=(4, 2),
    ),
    Style(
        "funk", (80, 128), 4, 4,
        (
            {CLOSED: "XxXxXxXxXxXxXxXx", SNARE: "....X..o.o..X..o", KICK: "X..o..x...x....o"},
            {CLOSED: "X.X.X.X.X.X.X.X.", SNARE: "....X..x.x..X...", KICK: "X.x.....o.X..x.."},
            {CLOSED: "XxxXXxxXXxxXXxxX", SNARE: "....X.......X..x", KICK: "X..X..X...o..x.."},
            {CLOSED: "X.XxX.X.X.XxX.X.", SNARE: "....X.......X...", KICK: "X......X.oX....."},
        ),
        ("X..x..x...xo..x.", "X.x....xX..x....", "X...o.xx..x...xo"),
        ("..x...x.x..x...o", "xxoxxoxxoxxoxxox", "....X..x....X...", "X..X....o.x....."),
        chord_beats=(8, 4, 16),
    ),
    Style(
        "disco", (100, 138), 4, 4,
        (
            {KICK: "X...X...X...X...", OPEN: "..X...X...X...X.", SNARE: "....X.......X..."},
            {KICK: "X...X...X...X...", CLOSED: "XxXxXxXxXxXxXxXx", 39: "....X.......X..."},
            {KICK: "X...X...X...X...", CLOSED: "..X...X...X...X."},
        ),
        ("X.X.X.X.X.X.X.X.", "..X...X...X...X.", "X..X..X.X..X..X."),
        ("..X...X...X...X.", "X..X..X...X..X..", "X..............."),
        chord_beats=(4, 8),
    ),
    Style(
        "shuffle", (76, 190), 4, 3,
        (
            {CLOSED: "X.XX.XX.XX.X", SNARE: "...X.....X..", KICK: "X....oX....o"},
            {RIDE: "X.XX.XX.XX.X", SNARE: "..xX.x..xX.x", KICK: "X..X..X..X.."},
            {CLOSED: "X..X..X..X..", SNARE: "...X.....X..", KICK: "X.....X..o.x"},
        ),
        ("X..X..X..X..", "X.xX.xX.xX.x", "X....xX....x"),
        ("X.xX.xX.xX.x", "...X.....X..", "..X..X..X..X", "X....x......"),
        swings=True, chord_beats=(4, 4, 8),
    ),
    Style(
        "waltz", (82, 230), 3, 3,
        (
            {RIDE: "X..X.xX.o", PEDAL: "...X.....", KICK: "X........"},
            {RIDE: "X..X..X..", PEDAL: "...X..X..", KICK: "X....o..."},
            {CLOSED: "X..X..X..", SNARE: "...x..x..", KICK: "X........"},
        ),
        ("X........", "X..X..X..", "X.....x..", "X....x..."),
        ("...X..X..", "X........", "x....x...", "...x....."),
        swings=True, chord_beats=(3, 3, 6),
    ),
    Style(
        "straight waltz", (80, 190), 3, 2,
        (
            {CLOSED: "X.X.X.", SNARE: "..X.X.", KICK: "X....."},
            {RIDE: "XxXxXx", SNARE: "..x.x.", KICK: "X..o.."},
        ),
        ("X.....", "X...x.", "X.x.x."),
        ("..X.X.", "X.....", "XxXxXx"),
        chord_beats=(3, 6),
    ),
    Style(
        "6/8", (46, 96), 2, 3,
        (
            {CLOSED: "XXXXXX", SNARE: "...X..", KICK: "X....o"},
            {RIDE: "X.XX.X", SNARE: "...X..", KICK: "X.o..o"},
            {CLOSED: "XXXXXX", SNARE: "......X....."[:6], KICK: "X..x..", STICK: "...X.."},
        ),
        ("X..x..", "X....x", "X....."),
        ("XXXXXX", "X.....", "X..X..", ".XX.XX"),
        chord_beats=(2, 4),
    ),
    Style(
        "12/8", (48, 92), 4, 3,
        (
            {CLOSED: "XXXXXXXXXXXX", SNARE: "...X.....X..", KICK: "X....ox....o"},
            {RIDE: "XXXXXXXXXXXX", SNARE: "...X.....X..", KICK: "X....XX....."},
        ),
        ("X....xX....x", "X..X..X..X..", "X.....X....."),
        ("XXXXXXXXXXXX", "X..X..X..X..", "...X.....X..", "X....x......"),
        chord_beats=(4, 2),
    ),
    Style(
        "five", (90, 190), 5, 3,
        ({RIDE: "X..X.xX..X..X.x", PEDAL: "...X.....X.....", KICK: "X........o....."},),
        ("X........X.....", "X..X..X..X..X.."),
        ("x....x...X.....", "X........x....."),
        swings=True, chord_beats=(5,),
    ),
    Style(
        "seven", (150, 260), 7, 2,
        ({CLOSED: "X.X.X.X.X.X.X.", SNARE: "..X...X....X..", KICK: "X...X...X....."},),
        ("X...X...X.....", "X.X.X.X.X.X.X."),
        ("X...X...X.....", "..X...X...X.X."),
        chord_beats=(7,),
    ),
)  # fmt: skip
