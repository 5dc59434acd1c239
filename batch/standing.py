"""How things stand in an output folder: who is at work there, and with what."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from batch.at_work import Role, is_held
from batch.catalogue import Catalogue
from batch.entry import Entry, State
from batch.lookup import is_there, present


@dataclass(frozen=True, slots=True)
class Standing:
    """A line for each process at work; takes in each state; those that are not done, by what they are."""

    busy: tuple[str, ...]
    counts: Mapping[State, int]
    unheard: Mapping[str, Sequence[Entry]]


def standing_of(catalogue: Catalogue, folder: Path) -> Standing:
    """Return how things stand in ``folder``. Takes whose recording is gone are left out.

    A take that is marked as being heard though nobody is at work was interrupted.
    """
    held = {role for role in Role if is_held(folder, role)}
    undone = catalogue.entries(State.RUNNING, State.WAITING, State.FAILED)
    unheard = [entry for entry in undone if is_there(entry.path, catalogue.home)]
    counts = {state: sum(entry.state is state for entry in unheard) for state in State}
    counts[State.DONE] = len(present(catalogue.files(State.DONE), catalogue.folders(), catalogue.home))
    running = State.RUNNING.value if Role.WRITING in held else "interrupted"
    words = {State.RUNNING: running, State.WAITING: State.WAITING.value, State.FAILED: State.FAILED.value}
    return Standing(
        busy=tuple(_who(role, catalogue) for role in Role if role in held),
        counts=counts,
        unheard={word: [e for e in unheard if e.state is state] for state, word in words.items()},
    )


def _who(role: Role, catalogue: Catalogue) -> str:
    who, since = catalogue.signed_in(role) or ("another takemill", "")
    when = f" since {datetime.fromisoformat(since).astimezone():%Y-%m-%d %H:%M}" if since else ""
    return f"{role.value}: {who}{when}"
