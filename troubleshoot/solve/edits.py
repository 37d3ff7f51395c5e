"""One parameter of the compiled network, changed: what a fault is to the solver."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Does = Literal["siemens", "earth", "stuck", "left", "threshold", "program", "times"]


@dataclass(frozen=True, slots=True, order=True)
class Edit:
    """A change laid over the healthy network; never a copy of the circuit.

    does: ``siemens`` (the part or hop `slot` gets conductance `value`, 0.0 is open), ``earth`` (the pin `slot` gets
    `value` siemens to earth), ``stuck`` (the state variable `slot` never leaves `value`), ``left`` (the state variable
    `slot` is found at `value` and can be moved), ``threshold`` (the law of state variable `slot` needs `value` times
    the volts to act), ``program`` (the controller's program with the change named `slot`; `value` is its sort. Only
    ``forced`` heals: it is taken off while the controller runs), ``times`` (the part `slot` has `value` times its
    conductance, whatever its state).
    """

    does: Does
    slot: str
    value: float | str
