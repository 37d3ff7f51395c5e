"""A circuit that is written down and read again is the same circuit."""

from __future__ import annotations

from dataclasses import replace

import pytest

from troubleshoot.circuit.load import load_circuit
from troubleshoot.circuit.model import Circuit
from troubleshoot.circuit.writing import write_circuit
from troubleshoot.cli.machines_on_disk import machine_files, ready_files

FILES = {name: where.path for name, where in {**ready_files(), **machine_files()}.items()}


def loaded(text: str) -> Circuit:
    found = load_circuit(text, "written")
    assert isinstance(found, Circuit), [str(p) for p in found]
    return found


def rounded(circuit: Circuit) -> Circuit:
    """Without the last bits, in which 47e-9 and 47 * 1e-9 differ."""
    devices = {
        tag: replace(d, ratings={k: float(f"{v:.12g}") if isinstance(v, float) else v for k, v in d.ratings.items()})
        for tag, d in circuit.devices.items()
    }
    return replace(circuit, devices=devices)


@pytest.mark.parametrize("name", FILES)
def test_what_is_written_reads_back_as_the_same_circuit(name):
    circuit = loaded(FILES[name].read_text(encoding="utf-8"))
    again = loaded(write_circuit(circuit, "A note"))
    assert again.program is None or circuit.program is not None
    if circuit.program is not None and again.program is not None:
        same = replace(again.program, line=circuit.program.line)
        assert same.text.strip() == circuit.program.text.strip()
        again = replace(again, program=replace(same, text=circuit.program.text))
    assert rounded(again) == rounded(replace(circuit, source="written"))


@pytest.mark.parametrize(
    "words", ["it's", "a: b", "# no", "no", "-", " ' ", "a, b", "{x}", "12:30", "tab\there", "%IX0.0", "?", "ü"]
)
def test_words_that_the_file_format_would_read_otherwise_come_back_as_they_were(words):
    circuit = replace(loaded(FILES["belt-7"].read_text(encoding="utf-8")), title=words)
    assert loaded(write_circuit(circuit)).title == words.strip()
