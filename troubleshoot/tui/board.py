"""The screen that draws a sheet and turns keys, taps and typing into inputs."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, replace

from rich.cells import cell_len
from textual import events
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Horizontal
from textual.message import Message
from textual.screen import Screen
from textual.timer import Timer

from troubleshoot.job.sheet import FrameKeys, Input, Line, Pressed, Role, Sheet, Typed
from troubleshoot.tui import answering, placing
from troubleshoot.tui.bars import KeyRow, TitleBar, Words, rows_below
from troubleshoot.tui.bench import NotSaved, Shown
from troubleshoot.tui.entry import Entry
from troubleshoot.tui.gate import RUN_S, Counts, Gate
from troubleshoot.tui.help import HelpScreen
from troubleshoot.tui.lines import Lines

SAVING_S = 2.0
"""Seconds after which it is no longer the disk that one waits for."""
AHEAD = 16
"""Keys kept while an answer is being saved; they count only if the question is still the same afterwards."""
TOO_SMALL = (
    f"make the window larger: {placing.LEAST_WIDTH}x{placing.LEAST_HEIGHT} at least, 80x24 shows every sheet whole. "
    "Nothing is lost."
)
ROOMY_HEIGHT = 32
"""From this height on, rows and keys get room for a thumb."""


@dataclass(frozen=True, slots=True)
class Pending:
    """A key that counts if nothing follows it."""

    key: str
    timer: Timer
    typed: bool = False
    """Pressed in the place to type: with more behind it, it is the beginning of a word."""


class SheetScreen(Screen[None]):
    """Title, caution, body, entry, keys."""

    AUTO_FOCUS = ""
    BINDINGS = [
        Binding("down", "choose(1)", "next row"),
        Binding("up", "choose(-1)", "row before"),
        Binding("pagedown", "page(1)", "page down"),
        Binding("pageup", "page(-1)", "page up"),
        Binding("tab,shift+tab", "step", "into or out of the typing"),
    ]

    @dataclass
    class Said(Message):
        """The person said something that goes to the runner."""

        said: Input

    class Leave(Message):
        """The person wants out."""

    @dataclass
    class Sized(Message):
        """The sheet is wanted at another size."""

        width: int
        height: int

    def __init__(self, fits: Callable[[str], str], busy: Callable[[], str], now: Callable[[], float]) -> None:
        super().__init__()
        self._fits = fits
        self._busy = busy
        self._now = now
        self._sheet: Sheet | None = None
        self._gate = Gate()
        self._pending: Pending | None = None
        self._waiting: Input | None = None
        self._waiting_since = 0.0
        self._ahead: deque[tuple[Sheet, Input]] = deque(maxlen=AHEAD)
        """What was given while something else was being saved, with the sheet that it was given to."""
        self._notice = ""
        self._not_saved = ""

    # ------------------------------------------------------------------------------------------------------ compose

    def compose(self) -> ComposeResult:
        """Every part is there from the start; a sheet only fills them."""
        yield TitleBar(id="title")
        yield Lines(id="caution", whole=True)
        yield Lines(id="body")
        yield TitleBar(id="more")
        with Horizontal(id="typing"):
            yield Words("opening ...", id="prompt")
            entry = Entry(id="entry")
            entry.fits = self._fits
            entry.too_early = self._gate.before_this_sheet
            entry.acts = self._acts_while_typing
            entry.before_typing = self._type_pending
            entry.missed = self._say_missed
            entry.display = False
            yield entry
            yield Words(id="status")
        yield KeyRow(id="keys")
        yield Words(TOO_SMALL, id="small")

    def on_mount(self) -> None:
        self.set_interval(0.25, self._tick)

    # --------------------------------------------------------------------------------------------------- from below

    def show(self, shown: Shown) -> None:
        """Draw a sheet; what was typed ahead for another question is thrown away, and that is said."""
        before, self._sheet = self._sheet, shown.sheet
        same = before is not None and (before.id, before.needs_caution) == (shown.sheet.id, shown.sheet.needs_caution)
        new = not same and not answering.asks_the_same(before, shown.sheet)
        thrown = self._throw_away() if new else 0
        if not new:
            self._gate.same_again()
        if shown.answered:
            self._waiting = None
            self._not_saved = ""
            thrown += self._send_next()
        if thrown:
            self._say(f"new question: {thrown} key{'' if thrown == 1 else 's'} not taken")
        self._draw(from_top=new)

    def _throw_away(self) -> int:
        """What was begun for the question before means nothing here; how many keys that is."""
        entry = self.query_one(Entry)
        thrown = len(entry.value) + (self._pending is not None)
        self._gate.changed()
        self._drop_pending()
        entry.value = ""
        self._notice = ""
        return thrown

    def not_saved(self, told: NotSaved) -> None:
        """The disk refused: say so until it takes something, and give the typing back."""
        said, self._waiting = self._waiting, None
        self._ahead.clear()
        self._not_saved = told.words
        if isinstance(said, Typed):
            self.query_one(Entry).value = said.text
            self.query_one(Entry).cursor_position = len(said.text)
        self._draw(from_top=False)

    # ------------------------------------------------------------------------------------------------------ drawing

    @property
    def too_small(self) -> bool:
        """Whether there is not enough room to show a sheet."""
        return self.size.width < placing.LEAST_WIDTH or self.size.height < placing.LEAST_HEIGHT

    def on_resize(self, event: events.Resize) -> None:
        self.set_class(self.too_small, "-small")
        if self.too_small:
            self._gate.changed()
        else:
            self._draw(from_top=False)
        self.post_message(self.Sized(event.size.width, event.size.height))

    def on_screen_resume(self) -> None:
        self._covered_no_more()

    def _covered_no_more(self) -> None:
        """Something lay over the sheet: a caution is read anew."""
        self._gate.changed()
        for block in self.query(Lines):
            block.draw_anew()
        if not self.too_small:
            self.call_after_refresh(self._painted)

    def _draw(self, *, from_top: bool) -> None:
        sheet, width, height = self._sheet, self.size.width, self.size.height
        if sheet is None or self.too_small:
            return
        top, rest = placing.split(sheet)
        if self._not_saved:
            top = (Line(self._not_saved, Role.DANGER), *top)
        caution = placing.rows_of(top, width, self._fits)
        rows = placing.rows_of(rest, width, self._fits)
        keys = answering.row_of_keys(sheet)
        spare = height - 2 - len(caution) - len(rows)
        spots = placing.key_rows(keys, width, self._fits, most=max(1, min(3, spare)))
        high = len(spots)
        if height >= ROOMY_HEIGHT and spare >= 3 * high:
            high *= 3
            airy = placing.rows_of(rest, width, self._fits, roomy=True)
            if len(airy) <= height - 2 - len(caution) - high:
                rows = airy
        room = height - 2 - high
        # The caution is whole wherever three rows of the rest stay visible; a longer one scrolls by itself and must
        # have been seen to its end before it can be accepted.
        caution_height = min(len(caution), max(1, room - min(3, len(rows)))) if caution else 0
        upper = self.query_one("#caution", Lines)
        upper.styles.height = caution_height
        upper.show(caution, from_top=from_top)
        self.query_one("#body", Lines).show(rows, from_top=from_top)
        self.query_one("#more", TitleBar).set_class(len(rows) > room - caution_height, "-shown")
        self.query_one("#title", TitleBar).show(placing.title_row(sheet.title, sheet.saved, width, self._fits))
        bar = self.query_one(KeyRow)
        bar.styles.height = high
        bar.show(spots)
        self._draw_entry(sheet, from_top)
        self._tell()
        self.call_after_refresh(self._painted)

    def _draw_entry(self, sheet: Sheet, from_top: bool) -> None:
        entry, prompt = self.query_one(Entry), self.query_one("#prompt", Words)
        open_now = answering.takes_typing(sheet)
        entry.display = open_now
        entry.password = bool(sheet.entry and sheet.entry.secret)
        entry.disabled = not open_now
        words = sheet.entry.prompt if sheet.entry else ""
        prompt.show(self._fits(f"{words}: " if open_now and words else words))
        prompt.set_class(not open_now, "-wide")
        if open_now and sheet.entry:
            entry.placeholder = self._fits(f"like {sheet.entry.example}") if sheet.entry.example else ""
            if from_top and not sheet.entry.rows_first:
                entry.focus()
            elif from_top:
                self.set_focus(None)
        elif self.focused is not None:
            self.set_focus(None)

    def _painted(self) -> None:
        """After the sheet went to the terminal, and where `displayed` was not told: from now on keys count for it."""
        if self.too_small or not self.is_current or self._sheet is None:
            return
        if not self._made_up():
            self.set_timer(0.02, self._painted)
            return
        self._gate.painted(self._now())
        self._mark_more()

    def displayed(self) -> None:
        """Something has gone to the terminal this moment. With the whole sheet in it, keys count from now on: `_painted` comes when
        there is nothing else to do, and whoever knows the question by heart is faster on a busy machine."""
        if self._sheet is not None and not self.too_small and self._gate.waits and self._made_up():
            self._gate.painted(self._now())

    def _made_up(self) -> bool:
        """Whether caution and body are in what went to the terminal."""
        caution, body = self.query_one("#caution", Lines), self.query_one("#body", Lines)
        if caution.rows and not (caution.drawn and caution.seen_to):
            return False
        return body.drawn or not body.rows or not body.size.height

    def _mark_more(self) -> None:
        body, caution = self.query_one("#body", Lines), self.query_one("#caution", Lines)
        mark = self.query_one("#more", TitleBar)
        if caution.hidden_below:
            mark.add_class("-shown")
            mark.show(f"the caution goes on: {rows_below(caution.hidden_below)}")
        elif body.hidden_below:
            mark.show(rows_below(body.hidden_below))
        else:
            mark.show("last row; PgUp goes back up")

    def _tell(self) -> None:
        """The words at the right of the entry: what went wrong, else the last notice, else what is being worked on."""
        words = ("NOT SAVED" if self._not_saved else "") or self._notice or self._hint() or self._busy()
        if not words and self._waiting is not None and self._now() - self._waiting_since > 0.3:
            # What is being given takes no second to save; what takes longer is the next screen being computed.
            words = "saving ..." if self._now() - self._waiting_since < SAVING_S else "working it out ..."
        status = self.query_one("#status", Words)
        status.show(self._fits(f" {words}" if words else ""))
        # Where both find no room, what is said now stands alone: it is gone again in a moment, the example comes back.
        entry, sheet = self.query_one(Entry), self._sheet
        if sheet is None or sheet.entry is None:
            return
        prompt, value = sheet.entry.prompt, entry.value
        example = cell_len(sheet.entry.example) + 6 if sheet.entry.example and not sheet.entry.locked else 0
        held = min(cell_len(value) + 1, 8) if value else example
        taken = cell_len(self._fits(prompt)) + cell_len(self._fits(words)) + 3
        crowded = bool(words) and taken + held > self.size.width
        alone = crowded and (sheet.entry.locked or bool(value) or taken + 1 > self.size.width)
        entry.placeholder = "" if crowded or not sheet.entry.example else self._fits(f"like {sheet.entry.example}")
        self.query_one("#prompt").display = not alone

    def _hint(self) -> str:
        """A single letter that is a key is one only once it is sent; say so while it stands in the entry."""
        sheet, value = self._sheet, self.query_one(Entry).value.strip()
        if sheet is None or len(value) != 1 or not answering.takes_typing(sheet):
            return ""
        labels = [key.label for key in sheet.keys if key.key == value]
        return f"Enter: {labels[0]}" if labels else ""

    def on_input_changed(self, message: Entry.Changed) -> None:
        """What was typed may be the name of a key."""
        message.stop()
        self._tell()

    def _tick(self) -> None:
        if not self.too_small:
            self._tell()

    def _say_missed(self) -> None:
        self._say(Counts.TYPED_AHEAD.value)

    def _say(self, words: str) -> None:
        self._notice = words
        self._tell()

    # --------------------------------------------------------------------------------------------------------- keys

    def on_key(self, event: events.Key) -> None:
        """What no widget took: keys that act, and characters that begin an answer."""
        key = event.character if event.is_printable and event.character else event.key
        if self.too_small or self._sheet is None:
            if key == (self._sheet.frame if self._sheet else FrameKeys()).leave:
                self.post_message(self.Leave())
            return
        sheet = self._sheet
        if self.focused is not None and key in ("enter", "escape"):
            return  # the entry's own: send, step out
        if key == answering.HELP.key:
            self._help(event)
        elif self.focused is not None and self._acts_while_typing(key):
            event.stop()
            self._act_if_alone(key, event.time)
        elif answering.acts_at_once(sheet, key):
            event.stop()
            self._act(key, event.time)
        elif key == sheet.frame.leave or (key == "enter" and sheet.done):
            event.stop()
            self._act(sheet.frame.leave, event.time)
        elif key == "enter" and self.query_one("#body", Lines).chosen:
            event.stop()
            self._act(self.query_one("#body", Lines).chosen, event.time)
        elif key == "enter" and answering.takes_typing(sheet):
            event.stop()
            self.query_one(Entry).focus()
        elif event.is_printable and event.character:
            event.stop()
            self._begin(event.character, event.time)

    def _help(self, event: events.Key) -> None:
        event.stop()
        self._open_help()

    def _open_help(self) -> None:
        if self._sheet is not None:
            self._drop_pending()
            if not self.app.is_screen_installed(HelpScreen.NAME):
                self.app.install_screen(HelpScreen(self._sheet, self._fits), HelpScreen.NAME)
            page = self.app.get_screen(HelpScreen.NAME, HelpScreen)
            page.sheet = self._sheet
            self.app.push_screen(page)

    def _begin(self, char: str, at: float) -> None:
        """A character that is no key: the start of an answer, where one can be typed."""
        self._drop_pending()
        self._gate.judge(char, at, caution=False)
        sheet, entry = self._sheet, self.query_one(Entry)
        if sheet is None:
            return
        if answering.takes_typing(sheet):
            entry.focus()
            if self._gate.before_this_sheet(at):
                self._say_missed()
            else:
                entry.insert_text_at_cursor(char)
        else:
            self._say(f"{self._fits(char)} does nothing now; ? shows what does")

    def _act(self, key: str, at: float) -> None:
        sheet = self._sheet
        if sheet is None:
            return
        self._drop_pending()
        caution = answering.accepts_caution(sheet, key)
        counts = self._gate.judge(key, at, caution=caution)
        if caution and not self._read_to_the_end():
            return
        if counts is Counts.YES:
            self._do(key, at)
        elif counts is Counts.IF_QUIET:
            self._wait_for_quiet(key, at)
        else:
            self._say(counts.value)

    def _acts_while_typing(self, key: str) -> bool:
        return self._sheet is not None and answering.acts_while_typing(self._sheet, key)

    def _act_if_alone(self, key: str, at: float) -> None:
        """A key in the empty place to type: a word that is typed or pasted fast stays a word, a row pressed twice is two."""
        before = self._pending
        if before is not None and before.typed and before.key != key:
            self._type_pending()
            self.query_one(Entry).insert_text_at_cursor(key)
            return
        self._drop_pending()
        counts = self._gate.judge(key, at, caution=False)
        if before is not None and before.typed and counts is not Counts.REPEATED:
            self._do(key, at)
        if counts in (Counts.YES, Counts.IF_QUIET):
            self._wait_for_quiet(key, at, typed=True)
        else:
            self._say(counts.value)

    def _type_pending(self) -> None:
        """What waited to be a key is the beginning of what is typed."""
        pending = self._pending
        if pending is not None and pending.typed:
            self._drop_pending()
            self.query_one(Entry).insert_text_at_cursor(pending.key)

    def _wait_for_quiet(self, key: str, at: float, *, typed: bool = False) -> None:
        timer = self.set_timer(RUN_S, lambda: self._was_quiet(key, at, typed=typed))
        self._pending = Pending(key, timer, typed)

    def _was_quiet(self, key: str, at: float, *, typed: bool) -> None:
        # By the same clock that stamps the keys: the timer of the loop is another one.
        if self._now() < at + RUN_S:
            self._wait_for_quiet(key, at, typed=typed)
            return
        # Behind every key that already came and waits, in the app's queue and then in this screen's: on a busy machine
        # the timer may be served before them.
        self.app.call_later(self.call_later, self._still_quiet, self._pending, at)

    def _still_quiet(self, pending: Pending, at: float) -> None:
        if self._pending is pending:
            self._pending = None
            self._do(pending.key, at)

    def _drop_pending(self) -> None:
        if self._pending is not None:
            self._pending.timer.stop()
            self._pending = None

    def _read_to_the_end(self) -> bool:
        caution = self.query_one("#caution", Lines)
        if caution.seen_to >= len(caution.rows):
            return True
        self._say(f"the caution goes on: PgDn, then {self._sheet.frame.caution if self._sheet else 'its key'}")
        return False

    def _do(self, key: str, at: float) -> None:
        sheet = self._sheet
        if sheet is None:
            return
        if answering.leaves(sheet, key):
            self.post_message(self.Leave())
            return
        self._give(Pressed(key, sheet.id, self._gate.drawn_ms(at)))

    # ---------------------------------------------------------------------------------------------- touch and typing

    def on_lines_touched(self, message: Lines.Touched) -> None:
        self._touch(message.key, message.at)

    def on_key_row_touched(self, message: KeyRow.Touched) -> None:
        if message.key == answering.HELP.key:
            self._open_help()
        else:
            self._touch(message.key, message.at)

    def _touch(self, key: str, at: float) -> None:
        sheet = self._sheet
        if sheet is None:
            return
        caution = answering.accepts_caution(sheet, key)
        if caution and not self._read_to_the_end():
            return
        counts = self._gate.touch(at, caution=caution)
        if counts is Counts.YES:
            self._do(key, at)
        else:
            self._say(counts.value if caution else Counts.TYPED_AHEAD.value)

    def on_input_submitted(self, message: Entry.Submitted) -> None:
        """Enter in the entry."""
        message.stop()
        sheet, entry = self._sheet, self.query_one(Entry)
        if sheet is None or not answering.takes_typing(sheet):
            return
        if self._gate.before_this_sheet(message.time):
            self._say_missed()
            return
        if not entry.value.strip():
            self._enter_alone(sheet, message.time)
            return
        text, cut = answering.capped(entry.value)
        said = answering.sent(sheet, text, drawn_ms=self._gate.drawn_ms(message.time))
        entry.value = ""
        if isinstance(said, Pressed) and answering.accepts_caution(sheet, said.key):
            self._say(Counts.BURST.value)
        elif isinstance(said, Typed) and answering.leaves(sheet, said.text):
            self.post_message(self.Leave())
        elif said is not None:
            self._give(said)
            if cut:
                self._say(f"only the first {answering.PASTE_LIMIT} bytes were taken")

    def _enter_alone(self, sheet: Sheet, at: float) -> None:
        chosen = self.query_one("#body", Lines).chosen
        key = chosen or ("enter" if "enter" in answering.live_keys(sheet) else "")
        if key:
            self._act(key, at)
        elif sheet.done:
            self._act(sheet.frame.leave, at)

    def on_entry_stepped_out(self, message: Entry.SteppedOut | None = None) -> None:
        self.set_focus(None)
        sheet = self._sheet
        back = sheet is not None and "escape" in answering.live_keys(sheet)
        if message is not None and back and not self.query_one(Entry).value.strip():
            # Nothing was typed and the key row says "Esc back": one press is enough.
            self._act("escape", message.time)
            return
        self._say("letters act at once; Tab to type")

    def on_entry_pasted(self, message: Entry.Pasted) -> None:
        cut = f"only the first {answering.PASTE_LIMIT} bytes were taken; " if message.cut else ""
        self._say(f"pasted: {cut}Enter sends it")

    def on_paste(self, event: events.Paste) -> None:
        """A paste while the entry has no focus: into the entry if it is open, nowhere else."""
        event.stop()
        if self._sheet is not None and answering.takes_typing(self._sheet) and not self.too_small:
            entry = self.query_one(Entry)
            entry.focus()
            entry.take(event.text, event.time)
        else:
            self._say("nothing can be pasted here")

    # -------------------------------------------------------------------------------------------------------- giving

    def _give(self, said: Input) -> None:
        self._notice = ""
        if self._waiting is None:
            self._waiting, self._waiting_since = said, self._now()
            self.post_message(self.Said(said))
        elif self._sheet is not None:
            self._ahead.append((self._sheet, said))
        self._tell()

    def _send_next(self) -> int:
        """Give the next of what waited, where it still means the same; how many were thrown away because nothing does."""
        if not self._ahead or self._sheet is None:
            return 0
        given_to, said = self._ahead[0]
        if answering.asks_the_same(given_to, self._sheet):
            self._ahead.popleft()
            self._give(replace(said, sheet=self._sheet.id))
            return 0
        thrown = len(self._ahead)
        self._ahead.clear()
        return thrown

    # ------------------------------------------------------------------------------------------------------- actions

    def action_choose(self, step: int) -> None:
        self.query_one("#body", Lines).choose(step)

    def action_page(self, step: int) -> None:
        """Page the caution while it has more to show that way, then the body."""
        caution, body = self.query_one("#caution", Lines), self.query_one("#body", Lines)
        more_there = caution.hidden_below if step > 0 else caution.top and not body.top
        block = caution if more_there else body
        block.scroll_rows(step * max(1, block.size.height - 1))

    def on_lines_scrolled(self) -> None:
        self._mark_more()

    def action_step(self) -> None:
        """Into the typing, or out of it."""
        if self.focused is not None:
            self.on_entry_stepped_out()
        elif self._sheet is not None and answering.takes_typing(self._sheet):
            self.query_one(Entry).focus()
            self._say("")
