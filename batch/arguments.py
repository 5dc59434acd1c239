"""What a player can type: the commands, their options, and what these may be."""

import argparse
from collections.abc import Callable
from pathlib import Path

from batch import __version__
from batch.exports import OWN
from batch.names import OUT_NAME

Command = Callable[[argparse.Namespace], int]

TABLE_ROWS = 100
"""How many takes a table shows unless asked; files hold all."""
_FOLDER_HELP = f"the takes' folder or the one written to (default: this one, or {OUT_NAME} in it)"
RANK_FORMATS = ("table", "csv", "json", "xspf", "m3u8")
TREND_FORMATS = ("table", "json", "svg")
TREND_PER = ("week", "day", "month")
TREND_BY = ("tune", "player")
RANK_BY = (
    "variety", "length", "density", "articulation", "groove", "register", "interval_size", "connectedness",
)  # fmt: skip


def parser_of(*commands: Command) -> argparse.ArgumentParser:
    """Return what reads the command line; each of ``commands`` is done by the function of its name."""
    named = {command.__name__: command for command in commands}
    parser = argparse.ArgumentParser(
        prog="takemill",
        description="Listens to takes of improvised lines: marks their phrases, sorts takes by variety.",
        epilog="takemill COMMAND --help explains a command with an example.",
    )
    parser.add_argument("--version", action="version", version=f"takemill {__version__}")
    subs = parser.add_subparsers(metavar="COMMAND", required=True)

    def add(name: str, summary: str, example: str) -> argparse.ArgumentParser:
        sub = subs.add_parser(
            name,
            help=summary,
            description=f"{summary[0].upper()}{summary[1:]}.",
            epilog=f"example:\n  {example}",
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        sub.set_defaults(command=named[name])
        return sub

    one = add("run", "analyse takes once; finished takes are not done again", "takemill run gigs/friday")
    one.add_argument("paths", nargs="+", type=Path, metavar="PATH", help="a take, or a folder of takes")
    _add_hearing(one)

    one = add("watch", "analyse every take that lands in a folder, until stopped", "takemill watch takes")
    one.add_argument("folder", type=Path, metavar="FOLDER", help="the folder your recordings land in")
    _add_hearing(one)

    one = add(
        "rank", "sort takes by variety, or by one of its parts", "takemill rank gigs/friday --by density"
    )
    one.add_argument("folder", nargs="?", type=Path, metavar="DIR", help=_FOLDER_HELP)
    one.add_argument("--by", choices=RANK_BY, default=RANK_BY[0], help="what to sort by (default: variety)")
    format_help = (
        "how to write it (default: table); xspf and m3u8 are playlists, with absolute links in a pipe"
    )
    one.add_argument("--format", choices=RANK_FORMATS, help=format_help)
    out_help = "write it there, in the format of its ending; a playlist's links are relative to FILE's folder"
    one.add_argument("--out", type=Path, metavar="FILE", help=out_help)
    first_help = f"how many to list (default: {TABLE_ROWS} in a table, else all)"
    one.add_argument("--first", type=_number, metavar="N", help=first_help)

    one = add(
        "trend", "follow takes over weeks, and say what to practise next", "takemill trend gigs --by tune"
    )
    one.add_argument("folder", nargs="?", type=Path, metavar="DIR", help=_FOLDER_HELP)
    one.add_argument(
        "--per", choices=TREND_PER, default=TREND_PER[0], help="how long a row is (default: week)"
    )
    one.add_argument("--by", choices=TREND_BY, help="follow each tune, or each player, on its own")
    one.add_argument("--only", metavar="NAME", help="of these, one alone")
    one.add_argument(
        "--format", choices=TREND_FORMATS, default=TREND_FORMATS[0], help="how to write it (default: table)"
    )

    one = add(
        "show", "show one take's phrases with the numbers behind them", "takemill show gigs/friday/blues.wav"
    )
    one.add_argument("take", metavar="TAKE", help="the recording, or its name in the ranking")
    one.add_argument("--in", dest="folder", type=Path, metavar="DIR", help=_FOLDER_HELP)

    one = add("status", "say what is waiting, running, done and failed", "takemill status gigs/friday")
    one.add_argument("folder", nargs="?", type=Path, metavar="DIR", help=_FOLDER_HELP)
    return parser


def _add_hearing(one: argparse.ArgumentParser) -> None:
    """Add what commands share that hear takes."""
    cluster_help = "hear on many machines: the scheduler of a Dask cluster, such as tcp://studio:8786"
    jobs_help = "takes to hear at a time, each on a core of its own (default: 1)"
    export_help = f"also write {', '.join(OWN[:-1])} or {OWN[-1]}, for this run; may be given several times"
    out_help = f"where to write (default: {OUT_NAME} in the takes' folder)"
    one.add_argument("--out", type=Path, metavar="DIR", help=out_help)
    one.add_argument("--export", action="append", default=[], metavar="NAME", help=export_help)
    where = one.add_mutually_exclusive_group()
    where.add_argument("--jobs", type=_number, default=1, metavar="N", help=jobs_help)
    where.add_argument("--cluster", metavar="ADDRESS", help=cluster_help)


def _number(text: str) -> int:
    number = int(text) if text.isascii() and text.isdigit() else 0
    if number < 1:
        raise argparse.ArgumentTypeError(f"{text!r}: allowed is a whole number of 1 or more")
    return number
