"""A person's session: the plant's front page, then one job. The runner behind every screen.

What is decided is written to the log, and only then shown. Heavy rooms are imported when a machine is chosen, so that
the first page is on the screen at once.
"""

from __future__ import annotations

import contextlib
import secrets
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final, Protocol

from troubleshoot.circuit.model import Circuit
from troubleshoot.job import elsewhere
from troubleshoot.job.describing import Door, Made, Meant, door_sheet, nearest_first, through
from troubleshoot.job.opening import ENOUGH, Match, matches, unknown_machine
from troubleshoot.job.pen import Pen
from troubleshoot.job.saying import runs_on
from troubleshoot.job.sheet import Entry, Input, Line, LiveKey, Pressed, Refusal, Role, Sheet, Typed
from troubleshoot.text.showing import show

if TYPE_CHECKING:
    from troubleshoot.evidence.baseline import Good
    from troubleshoot.job.aliases import Names
    from troubleshoot.job.decided import Ui
    from troubleshoot.job.desk import Desk
    from troubleshoot.job.runner import Runner
    from troubleshoot.job.searching import Searching
    from troubleshoot.job.state import Folded, State
    from troubleshoot.log.event import Event
    from troubleshoot.log.writer import Log
    from troubleshoot.safety.proof import Proof


def _no_folder(machine: str, text: str, made_from: str) -> Circuit:
    raise OSError(f"There is no plant folder here to keep {machine} in.")


def _nothing_kept(machine: str, goods: tuple[Good, ...]) -> None:
    """Where there is no folder, good readings stay in the log of their job."""


@dataclass(frozen=True, slots=True)
class OpenJob:
    """A job that was begun and not ended."""

    machine: str
    session: str
    """Name of its log without the ending."""
    words: str


class ProofAhead(Protocol):
    """A proof run on its way, so that no answer waits for it."""

    def ready(self) -> bool: ...
    def take(self, content: str) -> Proof | None:
        """The proof run of the machine with that content hash; None where it did not come to one."""
        ...

    def close(self) -> None: ...


@dataclass(frozen=True, slots=True)
class Doorway:
    """Another part of the program, entered from the front page."""

    key: str
    """A letter."""
    label: str
    """At most 14 characters."""
    words: str
    """What one does there, in a few words."""
    open: Callable[[Callable[[], None]], Runner]
    """Makes its runner; what it is given goes back to the front page. Raises OSError with words where it cannot."""


@dataclass(frozen=True, slots=True)
class Plant:
    """What a session needs of the plant folder. The edge (cli) fills it in; nothing here touches a disk."""

    circuits: Mapping[str, Circuit]
    open_jobs: tuple[OpenJob, ...]
    desk: Callable[[str], Desk]
    """Machine name to everything computed for it; slow."""
    log: Callable[[str, str, bool], Log]
    """(machine, session, new) to its log; raises OSError with words where there can be none."""
    who: str
    notices: tuple[str, ...] = ()
    ready: Callable[[], Mapping[str, Circuit]] = dict
    """The starter patterns by name."""
    save: Callable[[str, str, str], Circuit] = _no_folder
    """(machine, text of its circuit file, what it was made from): puts a machine that was described into the plant folder, for good before it
    returns, and gives what was read back; raises OSError with words where it cannot."""
    keep: Callable[[str, tuple[Good, ...]], None] = _nothing_kept
    """(machine, good readings): adds them to the machine's folder; raises OSError with words where it cannot."""
    taken: Callable[[], frozenset[str]] = frozenset
    """Names that a new machine cannot have: folders that are there already."""
    elsewhere: Callable[[tuple[Event, ...], str, str, str], Log] | None = None
    """(events so far, folder as typed, machine, session) to a log that goes on there; raises OSError with words."""
    searches: bool = False
    """Whether a better first trip is looked for behind the one on the screen: only where what is found is drawn anew."""
    proof_ahead: Callable[[str, bool], ProofAhead] | None = None
    """(machine, with wiring suspects) to its proof run being worked out elsewhere; None: in between, here."""
    doors: tuple[Doorway, ...] = ()
    """What else can be entered from the front page."""


class _DiskFailed(OSError):
    """Nothing will ever be called saved on this log again."""


_MENDING_MS: Final = 4 * 3_600_000
"""While a repair is being made nobody types: a longer silence is no interruption there."""
_ROWS: Final = "123456789"


class Session:
    """Implements `job.runner.Runner`."""

    def __init__(
        self, plant: Plant, *, machine: str = "", complaint: str = "", resume: str = "", describe: bool = False,
        pattern: str = "",
    ) -> None:  # fmt: skip
        """machine, complaint: go straight there; resume: session name of an open job to take up.

        describe: the machine is a new one, whatever it is called; pattern: name of the ready circuit that it is like.
        """
        self._plant = plant
        self._door: Door | None = None
        self._describe = describe
        self._pattern = pattern
        self._described: Made | None = None
        self._echo = plant.notices[0] if plant.notices else ""
        self._asked = complaint
        self._machine = machine
        self._candidates: tuple[Match, ...] = ()
        self._starters: dict[str, Circuit] | None = None
        self._busy = ""
        self._turn = 0
        self._desk: Desk | None = None
        self._log: Log | None = None
        self._name, self._plant_name = resume, ""
        self._lost: elsewhere.Lost | None = None
        self._ui: Ui | None = None
        self._taken_up: Mapping[str, Any] | None = None
        """That this job was taken up, as it will be written with the first answer: who only looks is no worker and changes
        nothing of how the job stands."""
        self._folded: Folded | None = None
        """The fold of what is in the log."""
        self._standing: tuple[int, bool, State] | None = None
        """How the job stands: with how many events, and whether it counts as taken up without that being one of them."""
        self._to_warm: list[Callable[[], object]] = []
        self._coming: tuple[Desk, ProofAhead] | None = None
        self._searching: Searching | None = None
        self._searched: Searching | None = None
        """The search that has come to its end: nothing is looked for twice in one state."""
        self._inside: Runner | None = None
        """What was entered from the front page and not left yet."""
        if resume:
            found = next(j for j in plant.open_jobs if j.session == resume)
            self._take_up(found)
        elif machine and complaint:
            self._said(complaint)

    def say(self, words: str) -> None:
        """The complaint, given before the first sheet."""
        self._said(words)

    # ---------------------------------------------------------------------------------------------------- the runner

    def sheet(self, width: int, height: int) -> Sheet:
        """See `Runner.sheet`."""
        if self._inside is not None:
            return self._inside.sheet(width, height)
        self._collect()
        if self._log is None or self._desk is None:
            return self._front(width)
        from troubleshoot.job.aliases import as_printed
        from troubleshoot.job.view import view

        assert self._ui is not None
        if self._lost is not None:
            return elsewhere.sheet_of(self._lost, f"{self._desk.machine.name.upper()}  NOT SAVED", self._saved(), width)
        names = self._names()
        drawn = view(self._fitting(self._desk), self._state(), self._ui, width, self._saved(), spare=names.spare)
        sheet = as_printed(drawn, names, width)
        if not self._log.recorded:
            warning = Line("NOT RECORDED: nothing of this job is kept.", Role.DANGER)
            return replace(sheet, lines=(warning, *sheet.lines))
        return sheet

    def give(self, said: Input) -> None:
        """See `Runner.give`."""
        if self._inside is not None:
            self._inside.give(said)
            return
        if self._log is None or self._desk is None:
            before_it = self._asked, self._candidates, self._echo, self._turn
            try:
                self._front_given(said)
            except OSError:
                self._asked, self._candidates, self._echo, self._turn = before_it
                raise
            return
        from troubleshoot.job.aliases import as_typed
        from troubleshoot.job.decide import decide
        from troubleshoot.job.decided import Decided, Ui

        if self._lost is not None:
            self._folder_given(said, self._lost)
            return
        assert self._ui is not None
        if isinstance(said, Typed):
            said = replace(said, text=as_typed(said.text, self._names()))
        self._busy = "working it out"
        try:
            if self._renewed():
                return
            before = self._fitting(self._desk)
            decided = decide(before, self._state(), self._ui, said)
            match decided:
                case None:
                    return
                case Refusal(words):
                    self._ui = Ui(self._ui.panel, words)
                case Decided(events, ui):
                    for kind, data in events:
                        self._write(kind, data)
                    self._ui = ui
                    if any(kind == "ended" for kind, _ in events):
                        self._grow()
                    if self._fitting(self._desk) is not before or any(kind == "complaint" for kind, _ in events):
                        self._ahead(self._state().complaint)
        except _DiskFailed as failed:
            self._lost = elsewhere.lost_by(str(failed), said)
        finally:
            self._busy = ""

    def busy(self) -> str:
        """See `Runner.busy`."""
        inside = self._inside
        return self._busy or (inside.busy() if inside is not None else "")

    def pump(self) -> bool:
        """Compute ahead what later screens will need, one table at a time; first see whether much time has gone by."""
        if self._inside is not None:
            return self._inside.pump()
        with contextlib.suppress(OSError):  # said with the next answer, which cannot be saved either
            if self._renewed():
                return True
        self._collect()
        if not self._to_warm:
            return self._search_on()
        self._to_warm.pop(0)()
        return bool(self._to_warm) or self._plant.searches

    def _search_on(self) -> bool:
        """A slice of the search for a better first trip; it is over once the person has begun with the present one."""
        if not self._plant.searches or self._desk is None or self._log is None or self._taken_up is not None:
            return False
        if self._lost is not None or self._ui is None or self._ui.panel:
            return False
        from troubleshoot.job.codec import put_step
        from troubleshoot.job.searching import Searching, open_to_another

        state = self._state()
        if self._searching is None or self._searching.state is not state:
            if open_to_another(desk := self._fitting(self._desk), state) is None:
                return False
            self._searching = Searching(desk, state)
            return True
        if self._searched is self._searching or self._searching.on():
            return self._searched is not self._searching
        self._searched = self._searching
        if (better := self._searching.better) is not None:
            with contextlib.suppress(_DiskFailed, OSError):  # said with the next answer
                self._write("choose", {"source": state.source, "step": put_step(better), "searched": True})
        return False

    def close(self) -> None:
        """See `Runner.close`."""
        self._leave_inside()
        if self._coming is not None:
            self._coming[1].close()
            self._coming = None
        if self._log is not None:
            if self._taken_up is None and {event.kind for event in self._log.events} <= {"opened", "described"}:
                # Left before anything was said: nothing to go on with, and no second job beside the next one.
                with contextlib.suppress(OSError):
                    self._write("ended", {"how": "not begun", "note": "left before anything was said"})
            self._log.close()

    def _enter(self, door: Doorway) -> None:
        self._busy = door.words
        try:
            self._inside = door.open(self._leave_inside)
        finally:
            self._busy = ""

    def _leave_inside(self) -> None:
        if self._inside is not None:
            inside, self._inside = self._inside, None
            inside.close()

    # ------------------------------------------------------------------------------------------------------- the job

    def _state(self) -> State:
        from troubleshoot.job.state import Folded, then

        assert self._log is not None
        events, taken_up = self._log.events, self._taken_up is not None
        if self._standing is None or self._standing[:2] != (len(events), taken_up):
            from troubleshoot.job.amending import desk_of, fitting

            assert self._desk is not None
            self._folded = (self._folded or Folded()).on(events)
            state = self._folded.state
            if self._taken_up is not None and events:
                from troubleshoot.log.event import make_event

                last = events[-1]
                state = then(
                    state, make_event(last.n + 1, "resumed", last.at, last.elapsed_ms, self._taken_up, last.hash)
                )
            self._standing = (len(events), taken_up, fitting(desk_of(self._desk, state), state))
        return self._standing[2]

    def _fitting(self, desk: Desk) -> Desk:
        """The desk that fits what was told and amended."""
        from troubleshoot.job.amending import desk_of

        return desk_of(desk, self._state())

    def _grow(self) -> None:
        """Keep what this job found out about the machine's wiring and names, for the next one."""
        from troubleshoot.circuit.writing import write_circuit
        from troubleshoot.job.amending import grown
        from troubleshoot.job.decided import Ui
        from troubleshoot.job.keeping import goods
        from troubleshoot.log.standing import retracted

        assert self._desk is not None
        assert self._log is not None
        circuit = grown(self._fitting(self._desk), self._state())
        events = self._log.events
        good = goods(events, retracted(events), events[-1].at[:10], self._plant.who)
        try:
            if good:
                self._plant.keep(circuit.name, good)
            if circuit == self._desk.machine.circuit:
                return
            self._plant.save(
                circuit.name, write_circuit(circuit, f"As it was left by {self._plant.who}."), circuit.name
            )
        except OSError as error:
            # The job has ended and its log holds all of it: that the file is not written must not undo the ending.
            self._ui = Ui(echo=f"The description could not be brought up to date: {error}")
            return
        self._ui = Ui(echo="What was found out about wiring and names is kept for next time.")

    def _names(self) -> Names:
        from troubleshoot.job.aliases import names
        from troubleshoot.job.amending import get_alias

        return names([get_alias(alias) for alias in self._state().aliases])

    def _saved(self) -> int:
        assert self._log is not None
        head = self._log.head
        return head[0] if head and self._log.recorded else 0

    def _write(self, kind: str, data: Mapping[str, Any]) -> None:
        from troubleshoot.log.writer import NotSaved

        assert self._log is not None
        if self._taken_up is not None and kind != "resumed":
            self._write("resumed", {**self._taken_up, "idle_ms": self._log.idle_ms})
            self._taken_up = None
        done = self._log.append(kind, data)
        if isinstance(done, NotSaved):
            if not done.again and self._plant.elsewhere is not None:
                raise _DiskFailed(done.words)
            raise OSError(done.words)

    def _renewed(self) -> bool:
        """After a long stop nobody is known to be clear, no caution read, nothing proved dead: written, once."""
        from troubleshoot.job.decided import Ui
        from troubleshoot.job.stage import stage_of
        from troubleshoot.job.state import LONG_MS

        if self._log is None or self._desk is None or self._lost is not None or self._log.idle_ms < LONG_MS:
            return False
        state, idle_ms = self._state(), self._log.idle_ms
        if state.ended or not (state.people_clear or state.accepted or state.isolation or state.tested):
            return False
        if idle_ms < _MENDING_MS and stage_of(self._fitting(self._desk), state).name == "repair":
            return False
        self._write("resumed", {
            "who": self._plant.who, "circuit": self._desk.machine.content, "changed": False, "idle_ms": idle_ms,
        })  # fmt: skip
        self._ui = Ui(echo=f"Nothing was said for {_long(idle_ms)}: people, cautions and isolation are asked again.")
        return True

    def _folder_given(self, said: Input, lost: elsewhere.Lost) -> None:
        """Go on with the record in the folder that was typed, or say why not."""
        from troubleshoot.job.decided import Ui

        assert self._log is not None
        assert self._desk is not None
        assert self._plant.elsewhere is not None
        if said.sheet != elsewhere.sheet_id(lost, self._saved()) or not isinstance(said, Typed):
            return
        try:
            log = self._plant.elsewhere(self._log.events, said.text.strip(), self._desk.machine.name, self._name)
        except OSError as no:
            self._lost = replace(lost, tries=lost.tries + 1, echo=str(no))
            return
        self._log.close()
        self._log = log
        try:
            self._write("moved", {"why": lost.words, "who": self._plant.who})
        except OSError as failed:
            self._lost = replace(lost, tries=lost.tries + 1, words=str(failed))
            return
        self._lost = None
        where = show(said.text.strip())
        self._ui = Ui(echo=f"The record goes on in {where}. What was not saved, say once more: {lost.said}")

    def _begin(self, machine: str, complaint: str, said: str) -> None:
        from troubleshoot.job.codec import put_situation
        from troubleshoot.job.decided import Ui

        self._busy = f"reading {machine} and computing what each fault would show"
        try:
            desk = self._plant.desk(machine)
            self._plant_name = machine
            self._name = f"{machine}-{secrets.token_hex(4)}"
            self._log, self._desk, self._ui = self._plant.log(machine, self._name, True), desk, Ui()
            shows = desk.shows(complaint)
            self._write("opened", {
                "machine": machine, "circuit": desk.machine.content, "who": self._plant.who, "complaint": complaint,
                "said": said, "shows": put_situation(shows), **({"past": past} if (past := dict(desk.machine.past)) else {}),
            })  # fmt: skip
            if self._described is not None:
                self._write("described", {
                    "from": self._described.made_from, "answers": dict(self._described.answers),
                    "title": self._described.title,
                })  # fmt: skip
                self._described = None
            self._ahead(complaint)
        except OSError:
            self._not_begun()
            raise
        finally:
            self._busy = ""

    def _not_begun(self) -> None:
        """Nothing of it is on the disk: back to where the job was chosen."""
        if self._log is not None:
            self._log.close()
        self._log = self._desk = self._ui = None

    def _take_up(self, job: OpenJob) -> None:
        from troubleshoot.job.decided import Ui

        desk = self._plant.desk(job.machine)
        log = self._plant.log(job.machine, job.session, False)
        self._desk, self._log, self._name, self._plant_name = desk, log, job.session, job.machine
        self._ui = Ui(echo="Taken up where it was left. Cautions and isolation are asked again.")
        first = log.events[0].data.get("circuit") if log.events else None
        changed = first is not None and first != desk.machine.content
        self._taken_up = {
            "who": self._plant.who, "circuit": desk.machine.content, "changed": changed, "idle_ms": log.idle_ms,
        }  # fmt: skip
        if changed:
            self._ui = Ui(
                echo="The description of this machine has changed since. Earlier readings are judged by the new one."
            )
        self._ahead(self._state().complaint)

    def _ahead(self, complaint: str) -> None:
        assert self._desk is not None
        desk = self._fitting(self._desk)
        shows = desk.shows(complaint)
        self._to_warm = [
            lambda: desk.reasoner.table(desk.as_found.situation),
            lambda: desk.reasoner.table(desk.at_rest.situation),
            lambda: desk.reasoner.table(shows.situation),
            lambda: desk.planner.candidates(desk.at_rest.situation),
            lambda: desk.planner.candidates(shows.situation),
            lambda: desk.bound(complaint),
            lambda: desk.prepare(shows),
            lambda: desk.prepare(desk.at_rest),
        ]
        if self._coming is not None:
            self._coming[1].close()
            self._coming = None
        if "proof" in vars(desk):
            return
        if self._plant.proof_ahead is None:
            self._to_warm.append(lambda: desk.proof)
        else:
            self._coming = desk, self._plant.proof_ahead(self._plant_name, bool(desk.machine.wiring))

    def _collect(self) -> None:
        """Take what another process has worked out by now; where it did not come to anything, it is done here."""
        if self._coming is None or not self._coming[1].ready():
            return
        (desk, coming), self._coming = self._coming, None
        proof = coming.take(desk.machine.content)
        if proof is None:
            self._to_warm.append(lambda: desk.proof)
            return
        desk.know_proof(proof)
        for check in proof.checks:
            self._to_warm.append(lambda at=check.situation.situation: desk.reasoner.table(at))  # type: ignore[misc]

    # ------------------------------------------------------------------------------------------------- the front page

    def _front(self, width: int) -> Sheet:
        lines: list[Line] = []
        keys: list[LiveKey] = []
        if self._door is not None and not self._candidates:
            drawn = door_sheet(self._door, self._plant.circuits, self._ready(), width)
            return Sheet(self._id(), drawn[0], self._echoed(drawn[1]), drawn[2], drawn[3], 0)
        if self._candidates:
            if runs_on(self._asked):
                lines.append(
                    Line("Does it move when it must not? Open its disconnect NOW. Then come back here.", Role.DANGER)
                )
            lines.append(Line(f'"{self._asked}": which of these?', Role.TASK))
            for key, match in zip(_ROWS, self._candidates, strict=False):
                circuit = self._plant.circuits[match.machine]
                words = circuit.complaints[match.complaint].words[0]
                lines += _row(key, f"{circuit.title}: {words}", width)
                keys.append(LiveKey(key, match.machine[:14], f"{circuit.title}: {words}", shown=False))
            keys.append(LiveKey("escape", "back", "back to the question"))
            return Sheet(self._id(), "TROUBLESHOOT  which machine?", self._echoed(lines), tuple(keys), None, 0)
        if self._describe:
            lines += [
                Line("A new machine: what is it called, and what does it do? Say it your way.", Role.TASK),
                Line("", Role.BLANK),
                Line("Nothing to fill in: the rest comes by single keys, and not knowing is an answer.", Role.NOTE),
            ]
            return Sheet(
                self._id(), "TROUBLESHOOT  a new machine", self._echoed(lines), (),
                Entry("Machine and complaint", example="belt 12 dead"), 0,
            )  # fmt: skip
        lines.append(Line("What is wrong? Say it as it was told to you: machine and what it does.", Role.TASK))
        lines.append(Line("", Role.BLANK))
        for key, job in zip(_ROWS, self._plant.open_jobs, strict=False):
            lines += _row(key, f"go on with: {job.words}", width)
            keys.append(LiveKey(key, "go on", f"takes up: {job.words}", shown=False))
        for door in self._plant.doors:
            lines.append(Line(f"{door.key}  {door.words}"[: width - 2], Role.ROW, door.key))
            keys.append(LiveKey(door.key, door.label, door.words))
        if self._plant.open_jobs or self._plant.doors:
            lines.append(Line("", Role.BLANK))
        if not self._plant.circuits:
            lines.append(Line("No machine is known here yet. Say what is wrong all the same.", Role.NOTE))
        else:
            lines.append(Line("Machines known here:", Role.NOTE))
        lines += [
            Line(f"   {c.name}: {c.title}"[: width - 2], Role.NOTE) for c in list(self._plant.circuits.values())[:8]
        ]
        entry = Entry("Machine and complaint", example=self._example())
        return Sheet(self._id(), "TROUBLESHOOT", self._echoed(lines), tuple(keys), entry, 0)

    def _example(self) -> str:
        first = next(iter(self._plant.circuits.values()), None)
        return f"{first.name.replace('-', ' ')} dead" if first else "belt 12 dead"

    def _echoed(self, lines: list[Line]) -> tuple[Line, ...]:
        return (*lines, Line(self._echo, Role.ECHO)) if self._echo else tuple(lines)

    def _id(self) -> str:
        return f"front {self._turn}"

    def _front_given(self, said: Input) -> None:
        if said.sheet != self._id():
            return
        self._turn += 1
        self._echo = ""
        if self._door is not None and not self._candidates and not isinstance(said, Typed):
            self._at_the_door(self._door, said)
            return
        match said:
            case Pressed(key="escape"):
                self._candidates = ()
            case Pressed(key=key) if key in _ROWS and self._candidates:
                if _ROWS.index(key) < len(self._candidates):
                    match = self._candidates[_ROWS.index(key)]
                    self._begin(match.machine, match.complaint, self._asked)
            case Pressed(key=key) if (
                not self._describe and not self._candidates and any(key == door.key for door in self._plant.doors)
            ):
                self._enter(next(door for door in self._plant.doors if door.key == key))
            case Pressed(key=key) if key in _ROWS and _ROWS.index(key) < len(self._plant.open_jobs):
                self._take_up(self._plant.open_jobs[_ROWS.index(key)])
            case Typed(text=text):
                if text.strip() in _ROWS[: len(self._plant.open_jobs)]:
                    self._take_up(self._plant.open_jobs[_ROWS.index(text.strip())])
                else:
                    self._said(text)
            case _:
                pass

    def _at_the_door(self, door: Door, said: Input) -> None:
        taken = self._plant.taken() | frozenset(self._plant.circuits)
        match through(door, said, self._plant.circuits, self._ready(), taken):
            case Door() as further:
                self._door = further
            case "back":
                self._door = None
            case Made() as made:
                self._keep(made)
            case Meant(machine):
                self._door, self._machine = None, machine
                self._said(door.said)
            case None:
                self._turn -= 1  # nothing was asked for: what else was typed on this sheet still counts

    def _keep(self, made: Made) -> None:
        """Save a machine that was described, and go straight on with the complaint."""
        circuit = self._plant.save(made.machine, made.text, made.made_from)
        self._plant = replace(self._plant, circuits={**self._plant.circuits, made.machine: circuit})
        self._door, self._machine, self._described = None, made.machine, made
        self._describe = False
        self._said(self._asked)

    def _ready(self) -> Mapping[str, Circuit]:
        if self._starters is None:
            self._starters = dict(self._plant.ready())
        return self._starters

    def _stand_at_the_door(self, text: str, called: str) -> None:
        known = self._plant.circuits
        self._door = Door(text, called, meant=tuple(nearest_first(called, known)[:2]))
        if self._pattern:
            keys = dict(zip(self._ready(), _ROWS + "0", strict=False))
            self._at_the_door(replace(self._door, where="starter"), Pressed(keys[self._pattern], self._id()))

    def _said(self, text: str) -> None:
        self._asked = text
        circuits = self._plant.circuits
        if self._describe:
            self._stand_at_the_door(text, unknown_machine(text, {}) or "")
            return
        if not self._machine:
            called = unknown_machine(text, circuits)
            if called is not None:
                self._stand_at_the_door(text, called)
                return
        self._door = None
        if self._machine:
            circuits = {self._machine: circuits[self._machine]}
        found = matches(text, circuits)
        if self._machine:
            found = [replace(m, machine_score=100.0) for m in found]
        if len(circuits) == 1 and found:
            # Only one machine is known: no need to name it.
            found = [replace(m, machine_score=100.0) for m in found]
        best = [m for m in found if m.sure]
        if len(best) == 1 or (len(best) > 1 and best[0].machine_score > best[1].machine_score + 10):
            self._begin(best[0].machine, best[0].complaint, text)
            return
        if best:
            self._candidates = tuple(best[:9])
            return
        # A machine but no symptom, or a symptom but no machine: show what could be meant, never an error.
        near = [m for m in found if m.machine_score >= ENOUGH] or found
        self._candidates = tuple(
            Match(m.machine, c, m.machine_score, m.complaint_score)
            for m in near[:9]
            for c in ([m.complaint] if m.complaint_score >= ENOUGH else m.complaints)
        )[:9]
        if not self._candidates:
            self._echo = "No machine is described here yet."


def _row(key: str, words: str, width: int) -> list[Line]:
    pen = Pen(width - 2)
    pen.put(f"{key}  {words}", Role.ROW, key=key, indent="   ")
    return pen.lines


def _long(ms: int) -> str:
    hours, minutes = divmod(ms // 60_000, 60)
    return f"{hours} h {minutes} min" if hours < 10 else f"{hours} h"
