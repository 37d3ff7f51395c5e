"""A person's session: the plant's front page, then one job. The runner behind every screen.

What is decided is written to the log, and only then shown. Heavy rooms are imported when a machine is chosen, so that
the first page is on the screen at once.
"""

from __future__ import annotations

import contextlib
import secrets
from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

from troubleshoot.job import another, elsewhere
from troubleshoot.job.ahead import Ahead
from troubleshoot.job.front import Begin, Chosen, FrontPage, TakeUp
from troubleshoot.job.plant import Doorway, OpenJob, Plant
from troubleshoot.job.sheet import Input, Line, Pressed, Refusal, Role, Sheet, Typed
from troubleshoot.text.showing import show

if TYPE_CHECKING:
    from troubleshoot.job.aliases import Names
    from troubleshoot.job.decided import Ui
    from troubleshoot.job.desk import Desk
    from troubleshoot.job.folding import Folded
    from troubleshoot.job.runner import Runner
    from troubleshoot.job.searching import Searching
    from troubleshoot.job.state import State
    from troubleshoot.log.writer import Log


MISSED: Final = "Not taken: the question changed as you answered. Read this one, then answer it."


class _DiskFailed(OSError):
    """Nothing will ever be called saved on this log again."""


_MENDING_MS: Final = 4 * 3_600_000
"""While a repair is being made nobody types: a longer silence is no interruption there."""
_SEARCH_MS: Final = 3_000
"""So long after an answer another trip may still take the place of the one on the screen: by then it has been read."""
_OF_THE_JOB: Final = frozenset("uelw")
"""Keys that mean the same whichever trip is on the screen: undo, end, rung, why. Each opens or takes back, none reads."""
_LOOK_S: Final = 0.05
"""How long an answer may have to wait for somebody who looks whether open jobs were found."""
_LOOKS: Final = 400
"""So often that is looked in a row, 20 s; after that once with every sheet."""


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
        self._page = FrontPage(plant, machine=machine, describe=describe, pattern=pattern)
        self._busy = ""
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
        self._ahead = Ahead()
        self._searching: Searching | None = None
        self._searched: Searching | None = None
        """The search that has come to its end: nothing is looked for twice in one state."""
        self._replaced = ""
        """Id of the sheet whose trip gave way to a better one: what was pressed on it meanwhile."""
        self._inside: Runner | None = None
        """What was entered from the front page and not left yet."""
        self._looking = plant.looking
        """Until the open jobs are found."""
        self._drawn = False
        """Whether the front page was: the looking begins after that."""
        self._looks = _LOOKS
        if resume:
            found = next(j for j in plant.open_jobs if j.session == resume)
            self._take_up(found)
        elif machine and complaint:
            self._do(self._page.said(complaint))

    def say(self, words: str) -> None:
        """The complaint, given before the first sheet."""
        self._do(self._page.said(words))

    # ---------------------------------------------------------------------------------------------------- the runner

    def sheet(self, width: int, height: int) -> Sheet:
        """See `Runner.sheet`."""
        if self._inside is not None:
            return self._inside.sheet(width, height)
        self._ahead.collect()
        if self._log is None or self._desk is None:
            if self._drawn:
                self._look(0.0)
            self._drawn = True
            return self._page.sheet(width)
        from troubleshoot.job.aliases import as_printed
        from troubleshoot.job.view import view

        assert self._ui is not None
        if self._lost is not None:
            return elsewhere.sheet_of(self._lost, f"{self._desk.machine.name.upper()}  NOT SAVED", self._saved(), width)
        names = self._names()
        drawn = view(self._fitting(self._desk), self._state(), self._ui, width, self._saved(), spare=names.spare)
        sheet = as_printed(drawn, names, width)
        if not self._ui.panel and another.can_be_said(self._log.events, taken_up=self._taken_up is not None):
            sheet = another.with_key(sheet)
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
            mark = self._page.mark()
            try:
                self._do(self._page.given(said))
            except OSError:
                self._page.back_to(mark)
                raise
            return
        from troubleshoot.job.aliases import as_typed
        from troubleshoot.job.decide import decide
        from troubleshoot.job.decided import Decided, Ui, sheet_id

        if self._lost is not None:
            self._folder_given(said, self._lost)
            return
        assert self._ui is not None
        if self._another_meant(said):
            return
        if isinstance(said, Typed):
            said = replace(said, text=as_typed(said.text, self._names()))
        self._busy = "working it out"
        try:
            if self._renewed():
                return
            now = sheet_id(self._state(), self._ui)
            if said.sheet != now:
                if not self._meant_all_the_same(said):
                    self._ui = replace(self._ui, echo=MISSED)
                    return
                said = replace(said, sheet=now)
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
                        self._plan_ahead(self._state().complaint)
        except _DiskFailed as failed:
            self._lost = elsewhere.lost_by(str(failed), said)
        finally:
            self._busy = ""

    def _meant_all_the_same(self, said: Input) -> bool:
        """Whether it answers the sheet whose trip has just given way to a better one, with a key that is not about that trip."""
        if not isinstance(said, Pressed) or said.key not in _OF_THE_JOB:
            return False
        return said.sheet == self._replaced and self._state().reckoned[-1:] == (self._state().last,)

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
        if self._log is None and self._drawn and self._looking is not None and self._looks:
            self._looks -= 1
            self._look(_LOOK_S)
            return True
        self._look_to_the_proof()
        return self._ahead.step() or self._search_on()

    def _search_on(self) -> bool:
        """A slice of the search for a better first trip; it is over once the person has begun with the present one."""
        if not self._plant.searches or self._desk is None or self._log is None or self._taken_up is not None:
            return False
        if self._lost is not None or self._ui is None or self._ui.panel or self._log.idle_ms > _SEARCH_MS:
            return False
        from troubleshoot.job.codec import put_step
        from troubleshoot.job.decided import Ui, sheet_id
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
        if (better := self._searching.better) is not None and self._log.idle_ms <= _SEARCH_MS:
            with contextlib.suppress(_DiskFailed, OSError):  # said with the next answer
                before = sheet_id(state, self._ui)
                self._write("choose", {"source": state.source, "step": put_step(better), "searched": True})
                self._replaced = before
                self._ui = Ui(echo=f"{self._ui.echo} Reckoned further: this trip first.".strip())
        return False

    def close(self) -> None:
        """See `Runner.close`."""
        self._leave_inside()
        self._ahead.close()
        if self._log is not None:
            if self._taken_up is None and {event.kind for event in self._log.events} <= {"opened", "described"}:
                # Left before anything was said: nothing to go on with, and no second job beside the next one.
                with contextlib.suppress(OSError):
                    self._write("ended", {"how": "not begun", "note": "left before anything was said"})
            self._log.close()

    def _look(self, within_s: float) -> None:
        """Take the open jobs where they are found by now. The sheet keeps its name: what is being typed on it stays."""
        if self._looking is None or (found := self._looking.found(within_s)) is None:
            return
        self._looking = None
        self._page.found(found)

    def _do(self, chosen: Chosen) -> None:
        """Go where the front page leads; raises OSError with words where that cannot be."""
        match chosen:
            case Begin():
                self._begin(chosen)
            case TakeUp(job):
                self._take_up(job)
            case Doorway():
                self._enter(chosen)
            case None:
                pass

    def _another_meant(self, said: Input) -> bool:
        """Another machine was meant: this job is closed as not begun, and what was said is asked about at the door."""
        assert self._log is not None
        assert self._ui is not None
        taken_up = self._taken_up is not None
        if self._ui.panel or not another.can_be_said(self._log.events, taken_up=taken_up):
            return False
        if not another.is_said(said, self.sheet(80, 24)):
            return False
        self._write("ended", {"how": "not begun", "note": "another machine was meant"})
        words = self._state().said
        self._ahead.close()
        self._ahead = Ahead()
        self._not_begun()
        self._folded = self._standing = None
        self._page.at_the_door(words)
        return True

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
        from troubleshoot.job.folding import Folded, then

        assert self._log is not None
        events, taken_up = self._log.events, self._taken_up is not None
        if self._standing is None or self._standing[:2] != (len(events), taken_up):
            from troubleshoot.job.fitting import desk_of, fitting

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
        from troubleshoot.job.fitting import desk_of

        return desk_of(desk, self._state())

    def _grow(self) -> None:
        """Keep what this job found out about the machine's wiring and names, for the next one."""
        from troubleshoot.circuit.writing import write_circuit
        from troubleshoot.job.decided import Ui
        from troubleshoot.job.fitting import grown
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
        from troubleshoot.job.aliases import get_alias, names

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
        if state.ended or state.handed or not (state.people_clear or state.accepted or state.isolation or state.tested):
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

    def _begin(self, chosen: Begin) -> None:
        from troubleshoot.job.codec import put_situation
        from troubleshoot.job.decided import Ui

        machine, complaint = chosen.machine, chosen.complaint
        self._busy = f"reading {machine} and computing what each fault would show"
        try:
            desk = self._plant.desk(machine)
            self._plant_name = machine
            self._name = f"{machine}-{secrets.token_hex(4)}"
            self._log, self._desk, self._ui = self._plant.log(machine, self._name, True), desk, Ui()
            shows = desk.shows(complaint)
            self._write("opened", {
                "machine": machine, "circuit": desk.machine.content, "who": self._plant.who, "complaint": complaint,
                "said": chosen.said, "shows": put_situation(shows), **({"past": past} if (past := dict(desk.machine.past)) else {}),
            })  # fmt: skip
            if chosen.described is not None:
                self._write("described", {
                    "from": chosen.described.made_from, "answers": dict(chosen.described.answers),
                    "title": chosen.described.title,
                })  # fmt: skip
                self._page.begun()
            self._plan_ahead(complaint)
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
        if self._handed():
            # Handed over: the page comes first, whoever stands there, and takes it up under a name of their own.
            self._taken_up, self._standing = None, None
            self._ui = self._ui if changed else Ui()
        self._plan_ahead(self._state().complaint)

    def _look_to_the_proof(self) -> None:
        desk = self._ahead.waits_for_repair
        if (
            desk is not None
            and self._log is not None
            and self._lost is None
            and desk is self._fitting(self._desk or desk)
        ):
            from troubleshoot.job.stage import stage_of

            self._ahead.proof_of(desk, stage_of(desk, self._state()).name)

    def _handed(self) -> bool:
        from troubleshoot.job.folding import fold

        assert self._log is not None
        return bool(fold(self._log.events).handed)

    def _plan_ahead(self, complaint: str) -> None:
        assert self._desk is not None
        desk, elsewhere_ = self._fitting(self._desk), self._plant.proof_ahead
        self._ahead.plan(
            desk, complaint,
            None if elsewhere_ is None else lambda: elsewhere_(self._plant_name, bool(desk.machine.wiring)),
        )  # fmt: skip


def _long(ms: int) -> str:
    hours, minutes = divmod(ms // 60_000, 60)
    return f"{hours} h {minutes} min" if hours < 10 else f"{hours} h"
