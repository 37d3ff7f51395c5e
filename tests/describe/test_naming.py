"""What people say first, and what the machine is then called."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from troubleshoot.describe.naming import machine_words, short_name
from troubleshoot.text.names import flaw_in_name


@pytest.mark.parametrize(
    ("said", "called", "name"),
    [
        ("belt 12 dead", "belt 12", "belt-12"),
        ("the big mixer won't start", "big mixer", "big-mixer"),
        ("Pump 3 trips after 5 s", "Pump 3", "pump-3"),
        ("grain dryer elevator 3 won't start", "grain dryer elevator 3", "grain-dryer-elevator-3"),
        ("sewage lift station pump 1 dead", "sewage lift station pump 1", "sewage-lift-station-pump-1"),
        ("very old blue mixer by the door dead", "very old blue", "very-old-blue"),
        ("dead", "", "machine"),
        ("won't start", "", "machine"),
        ("Förderband 9 steht", "Förderband 9", "forderband-9"),
        ("bay 4/B fan keeps running", "bay 4/B", "bay-4-b"),
        ("../../etc dead", "etc", "etc"),
        ("con dead", "con", "machine-con"),
    ],
)
def test_the_machine_is_called_what_people_call_it(said, called, name):
    assert machine_words(said) == called
    assert short_name(machine_words(said), ()) == name


def test_a_name_that_is_taken_gets_a_number():
    assert short_name("belt 12", {"belt-12", "belt-12-2"}) == "belt-12-3"


@given(st.text(max_size=200))
def test_whatever_is_typed_the_name_can_be_a_folder(said):
    name = short_name(machine_words(said), ())
    assert flaw_in_name(name) is None
    assert name.isascii()
    assert not set(name) & set("/\\:. ")
