"""The commands: what a player types, what is done, what is said, and the exit status.

Each command imports what it needs when it runs, so that ``--help`` is there at once.
"""

import argparse
import errno
import os
import signal
import sys
import time
from collections.abc import Callable, Collection, Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from io import TextIOWrapper
from pathlib import Path
from threading import Event
from types import FrameType
from typing import TYPE_CHECKING, TypeVar

from batch.arguments import TABLE_ROWS, parser_of
from batch.errors import BatchError
from batch.garbage import look_seldom
from batch.names import OUT_NAME

if TYPE_CHECKING:
    from batch.catalogue import Catalogue
    from batch.entry import Entry
    from batch.hearers import Hearers
    from batch.rank import Ranked
    from batch.report import Report
    from batch.trend.history import History
    from batch.trend.rows import Trend
    from batch.workshop import Workshop
    from exporters.playlists import Playlist

T = TypeVar("T")

ALL_WELL, SOME_FAILED, WRONG_USE = 0, 1, 2
INTERRUPTED = 130
"""128 + SIGINT, as shells have it."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; return the exit status: 0 all well, 1 some take failed, 2 wrong use."""
    look_seldom()
    asked = parser_of(run, watch, rank, trend, show, status).parse_args(arguments)
    for name in ("SIGTERM", "SIGHUP"):  # told to end; the terminal was closed
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) is not signal.SIG_IGN:  # as nohup sets it
            signal.signal(number, _interrupt)
    if not _is_somewhere():
        sys.stderr.write("takemill: the folder you are in is gone; go to another\n")
        return WRONG_USE
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="replace")
    try:
        ended: int = asked.command(asked)
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
    return ended


def run(asked: argparse.Namespace) -> int:
    """Analyse takes once."""
    from batch.at_work import Role, tidy
    from batch.folder import settings_of
    from batch.names import absolute
    from batch.scan import gather
    from batch.terminal import say_problem

    extras = _extras(asked.export)
    takes, complaints = gather(asked.paths, asked.out)
    for complaint in complaints:
        say_problem(complaint)
    if not takes and not complaints:
        say_problem(f"{_listed(asked.paths)}: no takes here; put recordings or MIDI files in it")
    all_done = True
    if takes or _is_written_to(asked):  # also where the last take went: what is written of all says so
        out: Path = asked.out or _default_out(asked.paths)
        named = (absolute(path) for path in asked.paths if os.path.isdir(path))
        folders = list(dict.fromkeys([*(take.parent for take in takes), *named]))
        for folder in folders:
            settings_of(folder)  # a mistake in the settings shows before anything is done
        workshop = _workshop(out, extras)
        tidy(out, Role.WATCHING)
        with _hearers(asked) as hearers, workshop.engine(hearers) as engine:
            stale, report = engine.expect(takes), _report(extras)
            report.look_over(takes)
            all_done = report.work(
                engine, stale, folders=lambda: folders, total=len(stale), known=len(takes) - len(stale)
            )
    if complaints:
        return WRONG_USE
    return ALL_WELL if all_done else SOME_FAILED


def watch(asked: argparse.Namespace) -> int:
    """Analyse every take that lands in a folder, until stopped."""
    from batch.folder import settings_of
    from batch.shift import Shift
    from batch.terminal import say, say_problem
    from batch.watch import Watcher

    folder: Path = asked.folder
    extras = _extras(asked.export)
    if not folder.is_dir():
        raise BatchError(f"{folder}: is no folder; name the one your recordings land in")
    out: Path = asked.out or folder / OUT_NAME
    watcher = Watcher(folder, out, settings_of(folder.absolute()).watch, time.monotonic)
    workshop, report = _workshop(out, extras), _report(extras)
    shift = Shift(folder, watcher, workshop, partial(_hearers, asked), report, say, say_problem)
    try:
        shift.last(Event())
    except KeyboardInterrupt:
        say("stopped; what has landed meanwhile is heard at the next start")
    return ALL_WELL


def rank(asked: argparse.Namespace) -> int:
    """Sort takes by variety or one of its parts."""
    from batch import rank as ranking
    from batch import rank_file
    from batch.entry import State
    from batch.lookup import present
    from batch.terminal import print_ranking

    wanted = rank_file.format_for(asked.format, asked.out)
    if asked.out is not None:
        from exporters.ranking import OURS

        rank_file.check(asked.out, OURS[wanted])
    as_table, by_score = wanted == rank_file.TABLE, asked.by == ranking.BY_SCORE

    def best(catalogue: "Catalogue") -> tuple[list["Ranked"], int, int]:
        scored, folders = catalogue.scores(None if by_score else asked.by), catalogue.folders()
        there = present([take.file for take in scored], folders, catalogue.home)
        scored = [take for take in scored if take.file in there]
        places = ranking.rank(scored, asked.first or (TABLE_ROWS if as_table else None))
        entries = catalogue.of_files([place.file for place in places])
        failed = len(present(catalogue.files(State.FAILED), folders, catalogue.home)) if as_table else 0
        ranked = [ranking.Ranked(entry, place) for entry, place in zip(entries, places, strict=True)]
        return ranked, len(scored) - len(places), failed

    where = _catalogue_folder(asked.folder or Path())
    ranked, more, failed = _ask(where, best)
    if as_table:
        print_ranking(ranked, asked.by, failed=failed, more=more)
        return ALL_WELL
    content = _ranking_file(ranked, wanted, where, asked)
    if asked.out is None:
        sys.stdout.buffer.write(content)
    else:
        rank_file.write(asked.out, content)
    return ALL_WELL


def trend(asked: argparse.Namespace) -> int:
    """Follow takes over days, weeks or months."""
    from datetime import datetime

    from batch.entry import State
    from batch.shelf import Shelf
    from batch.terminal import progress
    from batch.trend.history import history_of
    from batch.trend.periods import Per
    from batch.trend.rows import By, followed, only, trend_of
    from batch.trend.table import print_trend
    from exporters import files_of

    where = _catalogue_folder(asked.folder or Path())
    shelf, today = Shelf(where, files_of), datetime.now().date()

    def told(catalogue: "Catalogue") -> "History":
        with progress(len(catalogue.files(State.DONE)), "reading takes") as bar:
            return history_of(catalogue, shelf, today, bar.advance)

    by = By(asked.by) if asked.by else None
    if asked.only is not None and not asked.only.strip():
        raise BatchError("--only: name a tune or a player")
    if asked.only and by is None:
        raise BatchError(f"--only {asked.only}: say what it is, with --by tune or --by player")
    history = _ask(where, told)
    takes = only(history.sightings, by, asked.only) if by and asked.only else history.sightings
    found = trend_of(
        takes,
        Per(asked.per),
        by,
        settings=history.settings.trend,
        unlike=history.left_out.unlike,
        among=followed(history.sightings, by, history.settings.trend) if by else None,
    )
    if asked.format == "table":
        print_trend(found, history)
    else:
        sys.stdout.buffer.write(_trend_file(found, history, asked.format))
    return ALL_WELL


def show(asked: argparse.Namespace) -> int:
    """Show one take's phrases."""
    from batch.contract import parse_analysis
    from batch.entry import State
    from batch.names import ANALYSIS_SUFFIX
    from batch.regular import read_whole
    from batch.terminal import print_take, say_problem

    folder, entry = _find_take(asked.take, asked.folder)
    if entry.state is State.FAILED or entry.name is None:
        say_problem(f"{entry.path.name}: {entry.reason or 'not heard yet'}")
        return SOME_FAILED
    path = folder / f"{entry.name}{ANALYSIS_SUFFIX}"
    try:
        content = read_whole(path)
    except OSError as error:
        raise BatchError(f"{path}: cannot be read ({error.strerror}); run takemill again") from error
    print_take(parse_analysis(content, path), entry.path)
    return ALL_WELL


def status(asked: argparse.Namespace) -> int:
    """Say who is at work, and what is waiting, running, done and failed."""
    from batch.standing import standing_of
    from batch.terminal import print_status

    where = _catalogue_folder(asked.folder or Path())
    print_status(_ask(where, lambda catalogue: standing_of(catalogue, where)))
    return ALL_WELL


def _workshop(out: Path, extras: Collection[str] = ()) -> "Workshop":
    from batch.terminal import say_problem
    from batch.workshop import Workshop
    from exporters import files_of

    return Workshop(out, partial(files_of, also=extras), say_problem)


def _report(extras: Collection[str]) -> "Report":
    from batch.report import Report
    from exporters import copiers_for, faults, overview_exporters_for, session_exporters_for

    return Report(
        partial(session_exporters_for, also=extras),
        partial(overview_exporters_for, also=extras),
        partial(faults, also=extras),
        partial(copiers_for, also=extras),
    )


def _extras(asked: Sequence[str]) -> frozenset[str]:
    """Return what is to be written on request; BatchError if there is no such thing."""
    from batch.exports import known

    if unknown := [name for name in asked if name not in known()]:
        raise BatchError(f"--export {unknown[0]}: there is no such export; choose from {', '.join(known())}")
    return frozenset(asked)


def _is_written_to(asked: argparse.Namespace) -> bool:
    """Return whether takes were heard from here before, and written there."""
    from batch.catalogue_file import FILE_NAME

    outs = {asked.out} if asked.out else {path / OUT_NAME for path in asked.paths}
    return len(outs) == 1 and os.path.isfile(outs.pop() / FILE_NAME)


@contextmanager
def _hearers(asked: argparse.Namespace) -> Iterator["Hearers"]:
    if asked.cluster is not None:
        from batch.cluster import Cluster
        from batch.terminal import say_problem

        with Cluster(asked.cluster, say_problem) as far:
            yield far
        return
    from batch.listen import listen, prepare
    from batch.workers import Workers, as_it_comes

    # One process alone loads what its first take needs: a MIDI take needs little.
    with Workers(asked.jobs, listen, prepare if asked.jobs > 1 else as_it_comes) as workers:
        yield workers


def _ask(where: Path, question: "Callable[[Catalogue], T]") -> "T":
    """Return the catalogue's answer; a damaged catalogue is made anew first."""
    from batch.catalogue_file import DamagedError, open_catalogue

    try:
        with open_catalogue(where) as catalogue:
            return question(catalogue)
    except DamagedError:
        _workshop(where).mend()
    with open_catalogue(where) as catalogue:
        return question(catalogue)


def _catalogue_folder(folder: Path) -> Path:
    """Return where the catalogue is: in ``folder`` or in its ``markers``."""
    from batch.catalogue_file import FILE_NAME

    inside = folder / OUT_NAME
    return inside if (inside / FILE_NAME).is_file() and not (folder / FILE_NAME).is_file() else folder


def _catalogue_above(folder: Path) -> Path:
    """Return where the catalogue is: by ``folder``, or by one above that its takes are heard with."""
    from batch.catalogue_file import FILE_NAME

    places = (_catalogue_folder(place) for place in (folder, *folder.absolute().parents))
    return next((place for place in places if (place / FILE_NAME).is_file()), folder)


def _default_out(paths: Sequence[Path]) -> Path:
    from batch.names import absolute

    there = [path for path in paths if os.path.exists(path)]
    folders = {absolute(path if os.path.isdir(path) else path.parent) for path in there}
    if len(folders) > 1:
        raise BatchError(f"{_listed(paths)}: lie in different folders; say where to write with --out DIR")
    return folders.pop() / OUT_NAME


def _find_take(asked: str, folder: Path | None) -> tuple[Path, "Entry"]:
    """Return the output folder and the entry of the take that a player means."""
    from batch.lookup import find_take
    from batch.names import absolute

    parent = absolute(Path(asked)).parent
    where = _catalogue_folder(folder) if folder else _catalogue_above(parent if parent.is_dir() else Path())
    return where, find_take(asked, _ask(where, lambda catalogue: catalogue.entries()))


def _ranking_file(ranked: Sequence["Ranked"], wanted: str, where: Path, asked: argparse.Namespace) -> bytes:
    from exporters import playlists, ranking

    if wanted in ("csv", "json"):
        return ranking.render_csv(ranked) if wanted == "csv" else ranking.render_json(ranked)
    playlist = _playlist(ranked, where, asked)
    if wanted == "xspf":
        return playlists.render_xspf(playlist)
    for link in (track.link for track in playlist.tracks if not playlists.is_writable(track)):
        from batch.inert import inert
        from batch.terminal import say_problem

        say_problem(f"{inert(link)}: no line of M3U8 can hold its name, so it is left out; ask for xspf")
    return playlists.render_m3u8(playlist)


def _playlist(ranked: Sequence["Ranked"], where: Path, asked: argparse.Namespace) -> "Playlist":
    """Return the ranking as a playlist; its links hold from the folder that it goes to, or anywhere."""
    from batch.lookup import folder_name, way_between
    from batch.names import absolute
    from batch.outlines import read_outlines
    from batch.rank_file import behind
    from batch.shelf import Shelf
    from batch.terminal import progress
    from exporters import files_of
    from exporters.playlists import playlist_of_ranking

    entries = [take.entry for take in ranked]
    goes_to = absolute(asked.out) if asked.out is not None else behind(sys.stdout)
    links = [
        way_between(goes_to.parent, entry.path) if goes_to else entry.path.as_posix() for entry in entries
    ]
    shelf = Shelf(where, files_of)

    def told(catalogue: "Catalogue") -> tuple[str, dict[Path, str | None]]:
        with progress(len(entries), "reading takes") as bar:
            players = {path: o.player for path, o in read_outlines(entries, catalogue, shelf, bar.advance)}
        return folder_name(catalogue.folders(), catalogue.home), players

    title, players = _ask(where, told)
    return playlist_of_ranking(title, ranked, asked.by, links, players)


def _trend_file(found: "Trend", history: "History", wanted: str) -> bytes:
    if wanted == "json":
        from exporters.trend_json import render_json

        return render_json(found, history.left_out)
    from exporters.pictures.trend_picture import render_svg

    return render_svg(found, history.title)


def _listed(paths: Sequence[Path]) -> str:
    return ", ".join(str(path) for path in paths)


def _is_somewhere() -> bool:
    """Return whether the working folder is still there, from which relative paths lead on."""
    try:
        Path.cwd()
    except FileNotFoundError:
        return False
    return True


def _interrupt(number: int, frame: FrameType | None) -> None:
    raise KeyboardInterrupt
