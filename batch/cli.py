"""The commands: what a player types, what is done, what is said, and the exit status.

Each command imports what it needs when it runs, so that ``--help`` is there at once.
"""

import argparse
import errno
import os
import signal
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from io import TextIOWrapper
from pathlib import Path
from threading import Event
from types import FrameType
from typing import TYPE_CHECKING

from batch import __version__
from batch.errors import BatchError
from batch.garbage import look_seldom

if TYPE_CHECKING:
    from batch.catalogue import Catalogue, Entry
    from batch.engine import Engine
    from batch.gig import Gigs
    from batch.hearers import Hearers
    from batch.rank import Ranked

ALL_WELL, SOME_FAILED, WRONG_USE = 0, 1, 2
INTERRUPTED = 130
"""128 + SIGINT, as shells have it."""

OUT_NAME = "markers"
_FOLDER_HELP = f"the takes' folder or the one written to (default: this one, or {OUT_NAME} in it)"
RANK_FORMATS = ("table", "csv", "json", "xspf")
RANK_BY = ("variety", "length", "density", "articulation", "groove", "register", "interval_size")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; return the exit status: 0 all well, 1 some take failed, 2 wrong use."""
    look_seldom()
    asked = _parser().parse_args(arguments)
    signal.signal(signal.SIGTERM, _interrupt)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="replace")
    try:
        status: int = asked.command(asked)
        if sys.stdout is not None:
            sys.stdout.flush()
    except BatchError as error:
        from batch.terminal import say_problem

        say_problem(str(error))
        return WRONG_USE
    except BrokenPipeError:
        # The reader has seen enough; what Python still wants to flush goes nowhere.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return ALL_WELL
    except OSError as error:
        if error.errno not in {errno.ENOSPC, errno.EIO} or error.filename is not None:
            raise
        # The disk that output was sent to is full; there is nobody to tell but standard error.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.stderr.write(f"takemill: cannot write what there is to say ({error.strerror})\n")
        return WRONG_USE
    except KeyboardInterrupt:
        return INTERRUPTED
    return status


def run(asked: argparse.Namespace) -> int:
    """Analyse takes once."""
    from batch.folder import gather
    from batch.terminal import say_problem

    takes, complaints = gather(asked.paths)
    for complaint in complaints:
        say_problem(complaint)
    if not takes and not complaints:
        say_problem(f"{_listed(asked.paths)}: no takes here; put recordings or MIDI files in it")
    all_done = True
    if takes:
        with _engine(asked.out or _default_out(asked.paths), asked) as engine:
            all_done = _work(engine, takes)
    if complaints:
        return WRONG_USE
    return ALL_WELL if all_done else SOME_FAILED


def watch(asked: argparse.Namespace) -> int:
    """Analyse every take that lands in a folder, until stopped."""
    from batch.folder import forget_settings, settings_of
    from batch.terminal import say, say_problem
    from batch.watch import watch_folder

    folder: Path = asked.folder
    if not folder.is_dir():
        raise BatchError(f"{folder}: is no folder; name the one your recordings land in")
    settings = settings_of(folder).watch
    looks = watch_folder(
        folder, settle_s=settings.settle_s, poll=settings.poll, stop=Event(), clock=time.monotonic
    )
    out = asked.out or folder / OUT_NAME
    with _engine(out, asked):
        say(f"watching {folder}, writing to {out}; stop with Ctrl-C")
    try:
        for ready, settling in looks:
            forget_settings()
            try:
                # Opened anew each time: the output folder may have been removed meanwhile.
                with _engine(out, asked) as engine:
                    engine.expect(settling)
                    _work(engine, ready)
            except BatchError as error:
                # A mistake in the settings is mended while the watcher runs; it looks again then.
                say_problem(str(error))
    except KeyboardInterrupt:
        say("stopped; what has landed meanwhile is heard at the next start")
    return ALL_WELL


def rank(asked: argparse.Namespace) -> int:
    """Sort takes by variety or one of its parts."""
    from batch import rank as ranking
    from batch.catalogue import State
    from batch.lookup import is_there
    from batch.terminal import print_ranking

    with _catalogue(asked.folder) as catalogue:
        entries = [entry for entry in catalogue.entries() if is_there(entry.path)]
    ranked = ranking.rank([entry for entry in entries if entry.state is State.DONE], by=asked.by)
    if asked.format == "table":
        print_ranking(ranked, asked.by, failed=sum(entry.state is State.FAILED for entry in entries))
    else:
        sys.stdout.buffer.write(_ranking_file(ranked, asked.format))
    return ALL_WELL


def show(asked: argparse.Namespace) -> int:
    """Show one take's phrases."""
    from batch.catalogue import State
    from batch.contract import parse_analysis
    from batch.names import ANALYSIS_SUFFIX
    from batch.terminal import print_take, say_problem

    folder, entry = _find_take(asked.take, asked.folder)
    if entry.state is State.FAILED or entry.name is None:
        say_problem(f"{entry.path.name}: {entry.reason or 'not heard yet'}")
        return SOME_FAILED
    path = folder / f"{entry.name}{ANALYSIS_SUFFIX}"
    try:
        content = path.read_bytes()
    except OSError as error:
        raise BatchError(f"{path}: cannot be read ({error.strerror}); run takemill again") from error
    print_take(parse_analysis(content, path), entry.path)
    return ALL_WELL


def status(asked: argparse.Namespace) -> int:
    """Say what is waiting, running, done and failed."""
    from batch.lookup import is_there
    from batch.terminal import print_status

    with _catalogue(asked.folder) as catalogue:
        print_status([entry for entry in catalogue.entries() if is_there(entry.path)])
    return ALL_WELL


def _work(engine: "Engine", takes: Sequence[Path]) -> bool:
    """Bring takes up to date, a line each; return whether all of them are."""
    from batch.engine import Did
    from batch.folder import settings_of
    from batch.gig import Gigs
    from batch.terminal import progress, say, say_outcome
    from exporters import session_exporters_for

    folders = list(dict.fromkeys(take.parent for take in takes))
    for folder in folders:
        settings_of(folder)  # a mistake in the settings shows before anything is done
    gigs = Gigs(engine.catalogue, engine.shelf, session_exporters_for, time.monotonic)
    counts = dict.fromkeys(Did, 0)
    with progress(len(takes), "listening") as bar, closing(engine.work(takes)) as outcomes:
        for outcome in outcomes:
            counts[outcome.did] += 1
            if outcome.did is not Did.KNOWN:
                say_outcome(outcome)
                with suppress(BatchError):  # said at the end, if it is still so
                    gigs.keep_up(folders)
            bar.advance()
    if takes:
        tally = ", ".join(f"{count} {did.value}" for did, count in counts.items() if count)
        say(f"{tally}; files in {engine.shelf.folder}")
    return _keep_sessions(gigs, folders) and not counts[Did.FAILED] + counts[Did.LEFT]


def _keep_sessions(gigs: "Gigs", folders: Sequence[Path]) -> bool:
    """Bring the sessions' files up to date, a line each that changed; return whether that went well."""
    from batch.terminal import say_problem, say_session

    try:
        for session in gigs.keep(folders):
            say_session(session)
    except BatchError as error:
        say_problem(str(error))
        return False
    return True


@contextmanager
def _engine(out: Path, asked: argparse.Namespace) -> Iterator["Engine"]:
    from batch.catalogue import open_catalogue
    from batch.engine import Engine
    from batch.outputs import sweep_partials
    from batch.shelf import Shelf
    from exporters import exporters_for

    try:
        out.mkdir(parents=True, exist_ok=True)
        sweep_partials(out)
    except OSError as error:
        raise BatchError(f"{out}: cannot be written to ({error.strerror}); choose another --out") from error
    with open_catalogue(out, create=True) as catalogue, _hearers(asked.jobs, asked.cluster) as hearers:
        catalogue.recover()
        yield Engine(catalogue, Shelf(out, exporters_for), hearers)


@contextmanager
def _hearers(jobs: int, cluster: str | None) -> Iterator["Hearers"]:
    from batch.hearers import OneByOne
    from batch.listen import listen, prepare

    if cluster is not None:
        from batch.cluster import Cluster
        from batch.terminal import say_problem

        with Cluster(cluster, say_problem) as far:
            yield far
        return
    if jobs == 1:
        yield OneByOne(listen)
        return
    from batch.workers import Workers

    with Workers(jobs, listen, prepare) as workers:
        yield workers


@contextmanager
def _catalogue(folder: Path | None) -> Iterator["Catalogue"]:
    from batch.catalogue import open_catalogue

    with open_catalogue(_catalogue_folder(folder or Path())) as catalogue:
        yield catalogue


def _catalogue_folder(folder: Path) -> Path:
    """Return where the catalogue is: in ``folder`` or in its ``markers``."""
    from batch.catalogue import FILE_NAME

    inside = folder / OUT_NAME
    return inside if (inside / FILE_NAME).is_file() and not (folder / FILE_NAME).is_file() else folder


def _default_out(paths: Sequence[Path]) -> Path:
    there = [path for path in paths if os.path.exists(path)]
    folders = {(path if os.path.isdir(path) else path.parent).resolve() for path in there}
    if len(folders) > 1:
        raise BatchError(f"{_listed(paths)}: lie in different folders; say where to write with --out DIR")
    return folders.pop() / OUT_NAME


def _find_take(asked: str, folder: Path | None) -> tuple[Path, "Entry"]:
    """Return the output folder and the entry of the take that a player means."""
    from batch.catalogue import open_catalogue
    from batch.lookup import find_take
    from batch.names import absolute

    parent = absolute(Path(asked)).parent
    where = _catalogue_folder(folder or (parent if parent.is_dir() else Path()))
    with open_catalogue(where) as catalogue:
        entries = catalogue.entries()
    return where, find_take(asked, entries)


def _ranking_file(ranked: Sequence["Ranked"], wanted: str) -> bytes:
    from exporters import ranking

    render = {"csv": ranking.render_csv, "json": ranking.render_json, "xspf": ranking.render_xspf}
    return render[wanted](ranked)


def _listed(paths: Sequence[Path]) -> str:
    return ", ".join(str(path) for path in paths)


def _jobs(text: str) -> int:
    jobs = int(text) if text.isascii() and text.isdigit() else 0
    if jobs < 1:
        raise argparse.ArgumentTypeError(f"{text!r}: allowed is a whole number of 1 or more")
    return jobs


def _interrupt(number: int, frame: FrameType | None) -> None:
    raise KeyboardInterrupt


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="takemill",
        description="Listens to takes of improvised lines: marks their phrases, sorts takes by variety.",
        epilog="takemill COMMAND --help explains a command with an example.",
    )
    parser.add_argument("--version", action="version", version=f"takemill {__version__}")
    commands = parser.add_subparsers(metavar="COMMAND", required=True)

    def add(
        command: Callable[[argparse.Namespace], int], summary: str, example: str
    ) -> argparse.ArgumentParser:
        sub = commands.add_parser(
            command.__name__,
            help=summary,
            description=f"{summary[0].upper()}{summary[1:]}.",
            epilog=f"example:\n  {example}",
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        sub.set_defaults(command=command)
        return sub

    jobs_help = "takes to hear at a time, each on a core of its own (default: 1)"
    cluster_help = "hear on many machines: the scheduler of a Dask cluster, such as tcp://studio:8786"
    out_help = f"where to write (default: {OUT_NAME} in the takes' folder)"
    one = add(run, "analyse takes once; finished takes are not done again", "takemill run gigs/friday")
    one.add_argument("paths", nargs="+", type=Path, metavar="PATH", help="a take, or a folder of takes")
    one.add_argument("--out", type=Path, metavar="DIR", help=out_help)
    where = one.add_mutually_exclusive_group()
    where.add_argument("--jobs", type=_jobs, default=1, metavar="N", help=jobs_help)
    where.add_argument("--cluster", metavar="ADDRESS", help=cluster_help)

    one = add(watch, "analyse every take that lands in a folder, until stopped", "takemill watch takes")
    one.add_argument("folder", type=Path, metavar="FOLDER", help="the folder your recordings land in")
    one.add_argument("--out", type=Path, metavar="DIR", help=out_help)
    where = one.add_mutually_exclusive_group()
    where.add_argument("--jobs", type=_jobs, default=1, metavar="N", help=jobs_help)
    where.add_argument("--cluster", metavar="ADDRESS", help=cluster_help)

    one = add(rank, "sort takes by variety, or by one of its parts", "takemill rank gigs/friday --by density")
    one.add_argument("folder", nargs="?", type=Path, metavar="DIR", help=_FOLDER_HELP)
    one.add_argument("--by", choices=RANK_BY, default=RANK_BY[0], help="what to sort by (default: variety)")
    one.add_argument(
        "--format", choices=RANK_FORMATS, default=RANK_FORMATS[0], help="how to write it (default: table)"
    )

    one = add(
        show, "show one take's phrases with the numbers behind them", "takemill show gigs/friday/blues.wav"
    )
    one.add_argument("take", metavar="TAKE", help="the recording, or its name in the ranking")
    one.add_argument("--in", dest="folder", type=Path, metavar="DIR", help=_FOLDER_HELP)

    one = add(status, "say what is waiting, running, done and failed", "takemill status gigs/friday")
    one.add_argument("folder", nargs="?", type=Path, metavar="DIR", help=_FOLDER_HELP)
    return parser
