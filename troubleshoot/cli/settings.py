"""What a person sets once, in one YAML file: theme, mouse, line mode, where the keys are.

```yaml
theme: night
mouse: no
keys:
  why: h
  caution: k
```

What the environment or the command line says wins over it. Every mistake is told at once, as in any other file.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from troubleshoot.text.problem import Problem, in_file_order, nearest
from troubleshoot.text.yamlnodes import Map, Text, compose
from troubleshoot.text.yamlnodes import Node as Yaml

SETTINGS: Final[Mapping[str, str]] = {
    "theme": "one of the themes that `troubleshoot doctor` names",
    "mouse": "yes or no: no leaves it to the terminal, for marking and copying",
    "plain": "yes or no: yes is sentences and lines instead of the full screen",
    "keys": "name of a key to the letter it is moved to, see `troubleshoot keys`",
}
"""Every setting with what it may be."""
_YES_NO: Final = {"yes": True, "no": False}


@dataclass(frozen=True, slots=True)
class Settings:
    """What was set; what was not is as usual."""

    theme: str = ""
    mouse: bool = True
    plain: bool = False
    keys: Mapping[str, str] = field(default_factory=dict)
    """Name of a key to its letter; known to fit together."""


def read_settings(source: bytes, file: str) -> Settings | tuple[Problem, ...]:
    """The settings in a text, or everything that is wrong with it. A file with nothing in it sets nothing."""
    if not source.strip():
        return Settings()
    composed = compose(source, file)
    problems = list(composed.problems)
    if composed.root is None:
        return in_file_order(problems)
    if not isinstance(composed.root, Map):
        return in_file_order([*problems, Problem(composed.root.at, "settings are lines such as 'theme: night'")])
    found: dict[str, str] = {}
    keys: dict[str, str] = {}
    for key, value in composed.root:
        if key.value not in SETTINGS:
            problems.append(Problem(key.at, f"there is no setting {key.value!r}", nearest(key.value, SETTINGS)))
        elif key.value == "keys":
            keys = _keys(value, problems)
        elif not isinstance(value, Text):
            problems.append(Problem(value.at, f"{key.value} is {SETTINGS[key.value]}"))
        elif word := _word(key.value, value, problems):
            found[key.value] = word
    if problems:
        return in_file_order(problems)
    return Settings(
        theme=found.get("theme", ""),
        mouse=_YES_NO[found.get("mouse", "yes")],
        plain=_YES_NO[found.get("plain", "no")],
        keys=keys,
    )


def _word(name: str, value: Text, problems: list[Problem]) -> str:
    """A theme, or yes or no, in small letters."""
    from troubleshoot.tui.terminal import Look

    allowed = [look.value for look in Look] if name == "theme" else list(_YES_NO)
    word = value.value.strip().casefold()
    if word in allowed:
        return word
    problems.append(
        Problem(value.at, f"{name} {value.value!r} is not one of {', '.join(allowed)}", nearest(word, allowed))
    )
    return ""


def _keys(value: Yaml, problems: list[Problem]) -> dict[str, str]:
    from troubleshoot.job.keys import KEYS, MOVABLE
    from troubleshoot.tui.keymap import keymap

    if not isinstance(value, Map):
        if not (isinstance(value, Text) and value.missing):
            problems.append(Problem(value.at, f"keys is {SETTINGS['keys']}"))
        return {}
    names = [key.name for key in MOVABLE]
    chosen: dict[str, str] = {}
    at = {}
    for name, letter in value:
        if name.value in KEYS and name.value not in names:
            problems.append(Problem(name.at, f"the key {name.value!r} stays where it is"))
        elif name.value not in names:
            problems.append(Problem(name.at, f"there is no key {name.value!r}", nearest(name.value, names)))
        elif not isinstance(letter, Text):
            problems.append(Problem(letter.at, "a key is one letter"))
        else:
            chosen[name.value], at[name.value] = letter.value, letter.at
    # One wrong letter hides no other: each is left out once it was told.
    while isinstance(found := keymap(chosen), tuple):
        wrong, why = found
        problems.append(Problem(at[wrong], f"{wrong} cannot be on {chosen.pop(wrong)!r}: {why}"))
    return chosen
