"""The full-screen program: a bench thread that calls the runner, and the screen that draws what it says."""

from __future__ import annotations

import asyncio
import os
import signal
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass

from textual.app import App
from textual.binding import Binding
from textual.message import Message
from textual.screen import Screen

from troubleshoot.job.runner import Runner
from troubleshoot.tui.bench import Bench, Broke, NotSaved, Shown, Told
from troubleshoot.tui.board import SheetScreen
from troubleshoot.tui.glyphs import fit
from troubleshoot.tui.help import HelpScreen
from troubleshoot.tui.terminal import Glyphs, Look, Terminal
from troubleshoot.tui.themes import ansi, theme, variables

GOOD = Terminal(plain=False, look=Look.DARK, glyphs=Glyphs.FULL, old=False, slow=False, why=())
"""A terminal that can do everything."""

LOOK_AGAIN_S = 60.0
"""How often a sheet nobody touches is made anew."""
END_WITHIN_S = 2.5
"""How long a computation that is going on is waited for when the program is told to end."""


class TroubleshootApp(App[None]):
    """Draws what `runner` shows. Its exit code is 0, 143 or 129 after a signal, 70 after a bug of ours (see `broke`)."""

    CSS_PATH = ["style/sheet.tcss", "style/help.tcss"]
    ENABLE_COMMAND_PALETTE = False
    BINDINGS = [
        Binding("ctrl+c,ctrl+q", "leave", "leave", priority=True),
        Binding("ctrl+z", "suspend_process", "suspend", priority=True),
    ]

    @dataclass
    class FromBench(Message):
        """Something the bench thread told."""

        told: Told

    def __init__(
        self,
        runner: Runner,
        terminal: Terminal = GOOD,
        *,
        keep: Callable[[str], str] | None = None,
        now: Callable[[], float] = time.monotonic,
    ) -> None:
        """keep: puts a text into a file and says where; raises OSError. None: there is no place for files.
        now: seconds of the steady clock that stamps the messages of the screen library.
        """
        # Asked for in the constructor, not after it: with NO_COLOR the library otherwise picks grey shades at once.
        super().__init__(ansi_color=True if ansi(terminal.look) else None)
        self.broke: Exception | None = None
        self.closed = False
        self._fits = fit(terminal.glyphs)
        for look in Look:
            self.register_theme(theme(look))
        # Put there before anything is parsed: by assignment every style sheet would be read a second time.
        self.set_reactive(App.theme, f"troubleshoot-{terminal.look.value}")
        self.stylesheet.set_variables(self.get_css_variables())
        self._bench = Bench(runner, self._from_bench)
        self._now = now
        self._keep = keep
        self._clipboard_known = not terminal.old

    def get_theme_variable_defaults(self) -> dict[str, str]:
        """So that every meaning has a colour under any theme."""
        return variables(Look.DARK)

    def get_default_screen(self) -> Screen[None]:
        """The sheet is the first thing drawn."""
        return SheetScreen(self._fits, self._bench.busy, self._now)

    # -------------------------------------------------------------------------------------------------------- begin

    def on_mount(self) -> None:
        self._obey_signals()
        self.app_resume_signal.subscribe(self, lambda _: self._come_back())
        self.set_interval(LOOK_AGAIN_S, self._look_again)

    def _come_back(self) -> None:
        """After Ctrl-Z and fg: a caution is read anew, and what was proved long ago does not count."""
        self._board()._covered_no_more()
        self._look_again()

    def post_display_hook(self) -> None:
        """Called by the library as soon as something was written to the terminal."""
        on_top = self.screen_stack[-1] if self.screen_stack else None
        if isinstance(on_top, SheetScreen):
            on_top.displayed()

    def _look_again(self) -> None:
        """Let the runner see what time it is: a lid may have been shut over night without a signal."""
        if not self._board().too_small:
            self._bench.draw(self.size.width, self.size.height)

    def _obey_signals(self) -> None:
        loop = asyncio.get_running_loop()
        for number in (getattr(signal, name, None) for name in ("SIGTERM", "SIGHUP")):
            if number is None or threading.current_thread() is not threading.main_thread():
                continue
            try:
                loop.add_signal_handler(number, self._told_to_end, number)
            except (NotImplementedError, RuntimeError, ValueError):
                return  # Windows, or not the main thread: the library's own ending has to do

    def _told_to_end(self, number: int) -> None:
        """End now, without a question: the terminal may be gone already."""
        watchdog = threading.Timer(END_WITHIN_S + 0.8, os._exit, (128 + number,))
        watchdog.daemon = True
        watchdog.start()
        self.exit(return_code=128 + number)

    # ------------------------------------------------------------------------------------------------------ messages

    def _from_bench(self, told: Told) -> None:
        """Called in the bench thread."""
        self.post_message(self.FromBench(told))

    def _board(self) -> SheetScreen:
        return next(screen for screen in self.screen_stack if isinstance(screen, SheetScreen))

    def on_troubleshoot_app_from_bench(self, message: FromBench) -> None:
        match message.told:
            case Broke(error):
                self.broke = error
                self.exit(return_code=70)
            case _ if not self._board().query("#caution"):
                pass  # the screen is being taken down: what was told is in the record, and nobody is left to see it
            case Shown() as shown:
                self._board().show(shown)
            case NotSaved() as told:
                self._board().not_saved(told)

    def on_sheet_screen_said(self, message: SheetScreen.Said) -> None:
        self._bench.give(message.said)

    def on_sheet_screen_sized(self, message: SheetScreen.Sized) -> None:
        self._bench.start()  # the first size comes once there is a screen to draw on
        self._bench.draw(message.width, message.height)

    def on_sheet_screen_leave(self) -> None:
        self.action_leave()

    def on_help_screen_save(self, message: HelpScreen.Save) -> None:
        """Into a file and onto the clipboard; a program cannot know whether a terminal took the latter."""
        said = []
        try:
            said.append(f"saved in {self._keep(message.text)}" if self._keep else "no folder for files here")
        except OSError as error:
            said.append(f"NOT saved in a file: {error.strerror or error}")
        if self._clipboard_known:
            self.copy_to_clipboard(message.text)
            said.append("sent to the clipboard, if this terminal takes it")
        if isinstance(self.screen, HelpScreen):
            self.screen.say("; ".join(said))

    def action_leave(self) -> None:
        """Out, with all that was saved kept."""
        self.exit()

    # ---------------------------------------------------------------------------------------------------------- end

    def _handle_exception(self, error: Exception) -> None:
        """A bug of ours in the screen itself: restore the terminal and let the caller tell, without a page of frames."""
        if self.is_headless:
            super()._handle_exception(error)
        else:
            self.broke = error
            self.exit(return_code=70)

    async def on_unmount(self) -> None:
        self.closed = await asyncio.to_thread(self._bench.stop, within_s=END_WITHIN_S)
