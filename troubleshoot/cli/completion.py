"""``troubleshoot completion``: the few lines that let a shell complete commands, options and names.

zsh and fish are click's own. Its words for bash insert a name with a space or a colon wrongly, and a fault id has both;
PowerShell it does not know. Those two are here.
"""

from __future__ import annotations

import os
import re
import shlex
from typing import Final

import click
from click.shell_completion import CompletionItem, ShellComplete, add_completion_class, get_completion_class

from troubleshoot.cli.say import say

PROGRAM: Final = "troubleshoot"
VARIABLE: Final = "_TROUBLESHOOT_COMPLETE"
SHELLS: Final = ("bash", "zsh", "fish", "powershell")

_BASH: Final = """\
%(complete_func)s() {
    local line type value
    COMPREPLY=()
    while IFS=$'\\t' read -r type value; do
        case $type in
            dir) compopt -o dirnames ;;
            file) compopt -o default ;;
            plain) COMPREPLY+=("$value") ;;
        esac
    done < <(COMP_LINE=$COMP_LINE COMP_POINT=$COMP_POINT %(complete_var)s=bash_complete "$1" 2>/dev/null)
}
complete -o nosort -F %(complete_func)s %(prog_name)s
"""

_POWERSHELL: Final = """\
Register-ArgumentCompleter -Native -CommandName %(prog_name)s -ScriptBlock {
    param($word, $ast, $cursor)
    $length = $cursor - $ast.Extent.StartOffset
    $env:COMP_LINE = $ast.Extent.Text.PadRight($length).Substring(0, $length)
    $env:%(complete_var)s = 'powershell_complete'
    try {
        %(prog_name)s 2>$null | ForEach-Object {
            $type, $value, $help = $_ -split "`t", 3
            if ($type -eq 'plain') {
                [System.Management.Automation.CompletionResult]::new($value, $value, 'ParameterValue', $help)
            }
        }
    } finally {
        Remove-Item Env:COMP_LINE, Env:%(complete_var)s
    }
}
"""


class Bash(ShellComplete):
    """bash, from the line as it was typed: its own words are cut at colons."""

    name = "bash"
    source_template = _BASH

    def get_completion_args(self) -> tuple[list[str], str]:
        """Whole words before the cursor, and what stands of the one at it."""
        typed = os.fsencode(os.environ["COMP_LINE"])[: int(os.environ["COMP_POINT"])].decode("utf-8", "replace")
        return _args(typed, escape="\\")

    def format_completion(self, item: CompletionItem) -> str:
        """Kind and value, the value as it has to stand in the line."""
        line = os.environ["COMP_LINE"]
        return f"{item.type}\t{in_bash(str(item.value), line)}"


def in_bash(value: str, line: str) -> str:
    """What bash puts in place of the piece of a word after its last colon or equals sign; quoted as the piece is."""
    quote, piece = _open(line)
    if quote:
        return re.sub(r'(["$`\\])', r"\\\1", value) if quote == '"' else value
    escaped = re.sub(r"([^\w@%+=:,./-])", r"\\\1", value)
    before = re.match(r".*(?<!\\)[:=]", piece)
    # An option may stand before the value (--fault=U:X2): only what the value begins with is left out of it.
    cut = before[0].rpartition("=")[2] if before else ""
    return escaped[len(cut) :] if cut and escaped.casefold().startswith(cut.casefold()) else escaped


def _open(line: str) -> tuple[str, str]:
    """The quote that is still open at the end of the line, and the last word as it was typed."""
    quote = piece = ""
    skip = False
    for char in line:
        if skip:
            skip, piece = False, piece + char
        elif char == "\\" and quote != "'":
            skip, piece = True, piece + char
        elif quote:
            quote, piece = ("" if char == quote else quote), piece + char
        elif char in "\"'":
            quote, piece = char, piece + char
        else:
            piece = "" if char.isspace() else piece + char
    return quote, piece


class PowerShell(ShellComplete):
    """PowerShell, Windows' own and the one for every system."""

    name = "powershell"
    source_template = _POWERSHELL

    def get_completion_args(self) -> tuple[list[str], str]:
        """Whole words before the cursor, and what stands of the one at it. A backslash there is a letter."""
        return _args(os.environ["COMP_LINE"], escape="")

    def format_completion(self, item: CompletionItem) -> str:
        """Kind, value and help; help is never empty, for the shell takes none that is."""
        value = str(item.value)
        if re.search(r"[^\w:./\\-]", value):
            value = "'" + value.replace("'", "''") + "'"
        return f"{item.type}\t{value}\t{item.help or item.value}"


def _args(line: str, escape: str) -> tuple[list[str], str]:
    words = _words(line, escape)
    # One more letter makes one more word where a new one begins at the cursor.
    incomplete = "" if len(_words(line + "x", escape)) > len(words) else words.pop()
    return words[1:], incomplete


def _words(line: str, escape: str) -> list[str]:
    reader = shlex.shlex(line, posix=True)
    reader.whitespace_split, reader.commenters, reader.escape = True, "", escape
    words: list[str] = []
    try:
        words.extend(reader)
    except ValueError:  # a quote that is still open, or a backslash at the very end
        words.append(reader.token)
    return words


def register() -> None:
    """Make the two known to click."""
    add_completion_class(Bash)
    add_completion_class(PowerShell)


@click.command()
@click.argument("shell", type=click.Choice(SHELLS))
def completion(shell: str) -> None:
    """Print what SHELL reads to complete commands, options, machines, trees, complaints and faults.

    \b
    bash:        eval "$(troubleshoot completion bash)"              in ~/.bashrc
    zsh:         eval "$(troubleshoot completion zsh)"               in ~/.zshrc, after compinit
    fish:        troubleshoot completion fish | source               in config.fish
    PowerShell:  troubleshoot completion powershell | Out-String | Invoke-Expression     in $PROFILE

    Example: troubleshoot completion bash
    """
    from troubleshoot.cli.door import commands

    register()
    made = get_completion_class(shell)
    assert made is not None
    say(made(commands, {}, PROGRAM, VARIABLE).source(), nl=False)
