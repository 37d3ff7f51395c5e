"""The program read against the lights: what should be on, and the fewest contacts that hold it off."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from troubleshoot.program.lights import read_against, values_by_lights
from troubleshoot.program.model import Program
from troubleshoot.program.reading import parse_program
from troubleshoot.program.running import scan, start

BELT = """VAR
  estop_ok AT %IX0.0 : BOOL; start AT %IX0.1 : BOOL; stop_ok AT %IX0.2 : BOOL; run_mode AT %IX0.3 : BOOL;
  motor AT %QX0.0 : BOOL; stopped AT %QX0.1 : BOOL; chain AT %MX0.0 : BOOL;
END_VAR
chain := estop_ok AND stop_ok;
motor := chain AND (start OR (motor AND run_mode));
stopped := NOT motor;
"""


def program(text: str = BELT) -> Program:
    read = parse_program(text, "test")
    assert isinstance(read, Program), read
    return read


def lights(*on: str) -> dict[str, bool]:
    return {point: point in on for point in ("%IX0.0", "%IX0.1", "%IX0.2", "%IX0.3", "%QX0.0", "%QX0.1")}


@pytest.mark.parametrize(
    ("on", "says"),
    [
        (("%IX0.1", "%IX0.2", "%IX0.3", "%QX0.1"), "motor is off: chain (%MX0.0) is off"),
        (("%IX0.0", "%IX0.2", "%IX0.3", "%QX0.1"),
         "motor is off: start (%IX0.1) is off; motor (%QX0.0) is off, so it does not hold itself in"),
        (("%IX0.0", "%IX0.1", "%IX0.2", "%QX0.1"),
         "motor is off and by these lights should be on: the program is another, or a point is forced"),
        (("%IX0.0", "%IX0.1", "%IX0.2", "%QX0.0"), "motor is on"),
        (("%IX0.0", "%QX0.0"), "motor is lit and by these lights should not be: chain (%MX0.0) is off"),
        # Sealed in: no start, and nothing is wrong.
        (("%IX0.0", "%IX0.2", "%IX0.3", "%QX0.0"), "motor is on"),
    ],
)  # fmt: skip
def test_the_motor_beside_the_lights(on: tuple[str, ...], says: str) -> None:
    assert read_against(program(), lights(*on))[0].words == says


def test_a_lamp_that_says_the_opposite_of_the_motor_is_told_too() -> None:
    motor, stopped = read_against(program(), lights("%IX0.0", "%IX0.2"))
    assert not motor.expected
    assert stopped.words.startswith("stopped is off and by these lights should be on")


@given(st.lists(st.fixed_dictionaries({f"%IX0.{k}": st.booleans() for k in range(4)}), min_size=1, max_size=6))
def test_a_controller_that_runs_this_program_never_disagrees_with_its_lights(steps: list[dict[str, bool]]) -> None:
    ready = program()
    memory = start(ready, cold=True)
    for inputs in steps:
        for _ in range(3):
            result = scan(ready, memory, inputs, 0)
            memory = result.memory
        seen = {**inputs, **result.outputs}
        assert all(one.lit is one.expected for one in read_against(ready, seen))
        assert dict(values_by_lights(ready, seen)) == dict(result.values)
