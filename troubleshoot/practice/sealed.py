"""An instructor's exercise as a file: readable but for what is hidden, which is packed so that no eye falls on it.

Packed is not secret: whoever wants to can unpack it, as whoever wants to can look under the cover. The digest says only
that it is whole, and that what stands readable beside it was not changed.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import json
import zlib
from collections.abc import Mapping
from typing import Final

from troubleshoot.practice.exercise import BY_NAME, Exercise, get_hidden, put_hidden
from troubleshoot.text.problem import Problem, in_file_order, nearest
from troubleshoot.text.yamlnodes import Map, Text, compose

FORMAT: Final = "1"
KEYS: Final[Mapping[str, str]] = {
    "practice": "number of this format: 1",
    "title": "what the trainee reads first",
    "machine": "name of the machine, or its file",
    "level": "a level of the course, by name; packed with the rest, for it tells half the answer",
    "complaint": "symptom as the circuit file names it",
    "said": "the complaint as it is told",
    "seed": "a whole number: for what is left open",
    "sealed": "what is hidden, packed",
    "digest": "SHA-256 over all of it",
}
"""Every key with what it may be."""
NEEDED: Final = ("practice", "machine", "seed", "sealed", "digest")
MOST_PACKED: Final = 20_000
"""Characters of what is packed, and bytes once it is unpacked: an exercise is a few names."""
_WIDE: Final = 76


def write_exercise(exercise: Exercise) -> str:
    """The exercise as a text."""
    packed = base64.b64encode(zlib.compress(json.dumps(put_hidden(exercise), sort_keys=True).encode(), 9)).decode()
    rows = [packed[k : k + _WIDE] for k in range(0, len(packed), _WIDE)]
    fields = {
        "title": exercise.title, "machine": exercise.machine,
        "complaint": exercise.complaint, "said": exercise.said, "seed": str(exercise.seed),
    }  # fmt: skip
    return "\n".join([
        "# An exercise: troubleshoot practice --exercise FILE",
        "# What is hidden is packed, so that nobody reads it by accident. It is no secret to whoever unpacks it.",
        f"practice: {FORMAT}",
        *(f"{key}: {_quoted(value)}" for key, value in fields.items()),
        "sealed: |",
        *(f"  {row}" for row in rows),
        f"digest: {_digest(fields, packed)}",
        "",
    ])  # fmt: skip


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"


def _digest(fields: Mapping[str, str], packed: str) -> str:
    text = "\n".join(
        [
            *(f"{key}={fields.get(key, '')}" for key in sorted(KEYS) if key not in ("sealed", "digest", "practice")),
            packed,
        ]
    )
    return hashlib.sha256(text.encode()).hexdigest()


def read_exercise(source: bytes, file: str) -> Exercise | tuple[Problem, ...]:
    """The exercise in a text, or everything that is wrong with it. Raises nothing."""
    composed = compose(source, file)
    problems = list(composed.problems)
    root = composed.root
    if root is None:
        return in_file_order(problems)
    if not isinstance(root, Map):
        return in_file_order([*problems, Problem(root.at, "an exercise is lines such as 'machine: belt-7'")])
    found: dict[str, Text] = {}
    for key, value in root:
        if key.value not in KEYS:
            problems.append(Problem(key.at, f"there is no key {key.value!r} in an exercise", nearest(key.value, KEYS)))
        elif not isinstance(value, Text):
            problems.append(Problem(value.at, f"{key.value} is {KEYS[key.value]}"))
        else:
            found[key.value] = value
    given = {key.value for key, _ in root}
    problems += [Problem(root.at, f"{key} is missing: {KEYS[key]}") for key in NEEDED if key not in given]
    level, seed = found.get("level"), found.get("seed")
    if level is not None and level.value not in BY_NAME:
        problems.append(Problem(level.at, f"there is no level {level.value!r}", nearest(level.value, BY_NAME)))
    if seed is not None and not seed.value.isdecimal():
        problems.append(Problem(seed.at, f"seed {seed.value!r} is no whole number"))
    form = found.get("practice")
    if form is not None and form.value != FORMAT:
        problems.append(Problem(form.at, f"this program reads format {FORMAT}, not {form.value!r}"))
    if problems:
        return in_file_order(problems)
    return _unpacked(found)


def _unpacked(found: Mapping[str, Text]) -> Exercise | tuple[Problem, ...]:
    sealed, digest = found["sealed"], found["digest"]
    packed = "".join(sealed.value.split())
    fields = {key: text.value for key, text in found.items()}
    if len(packed) > MOST_PACKED:
        return (Problem(sealed.at, "what is packed here is too long for an exercise"),)
    if _digest(fields, packed) != digest.value:
        return (Problem(digest.at, "the digest does not fit: the file was changed after it was made, or is not whole"),)
    try:
        unpack = zlib.decompressobj()
        text = unpack.decompress(base64.b64decode(packed, validate=True), MOST_PACKED)
        hidden = json.loads(text)
        faults, setting, note = get_hidden(hidden)
        # A file of the first kind has it readable.
        level = BY_NAME[fields["level"] if "level" in fields else hidden["level"]].number
    except (binascii.Error, zlib.error, ValueError, KeyError, TypeError, IndexError):
        return (Problem(sealed.at, "what is packed here is no exercise"),)
    return Exercise(
        fields["machine"], level, int(fields["seed"]), fields.get("complaint", ""),
        fields.get("said", ""), faults, setting, note, fields.get("title", ""),
    )  # fmt: skip


__all__ = ["KEYS", "read_exercise", "write_exercise"]
