"""What a device kind is: terminals, ratings, electrical parts, laws, and how it fails, all as data.

Six primitives make every device: a branch, a switch driven by a state, a law that moves a state when a measured
quantity crosses a band, a source, a converter port (a source that a law turns on), and the program. A new kind is one
module that fills in a `Kind`, one line in the table of kinds, and tests.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Literal, cast

from troubleshoot.circuit.kinds.induction import Cage
from troubleshoot.circuit.model import Device

Net = Literal["ac", "dc"]

Blocks = Mapping[tuple[str, str], tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class Band:
    """Where a threshold lies: below `low` surely not, above `high` surely; between, it may."""

    low: float
    high: float


@dataclass(frozen=True, slots=True)
class When:
    """True while state variable `var` has one of `values`."""

    var: str
    values: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Branch:
    """A passive two-terminal part. `ac` is its impedance at supply frequency, `dc` its resistance, ohms.

    farads: of a capacitor in series with `ac`; its reactance at the supply's frequency comes in when the circuit is
    compiled, since a device does not know what it is fed with. 0: there is none.
    """

    name: str
    a: str
    b: str
    ac: complex
    dc: float
    farads: float = 0.0


@dataclass(frozen=True, slots=True)
class Switch:
    """A contact: `ohms` while all of `when` hold, otherwise open (or `leak` ohms where a semiconductor leaks)."""

    name: str
    a: str
    b: str
    when: tuple[When, ...]
    ohms: float
    leak: float | None = None


@dataclass(frozen=True, slots=True)
class Variable:
    """A passive part whose impedance depends on a state: a coil out or in, a motor still or turning."""

    name: str
    a: str
    b: str
    var: str
    ac: Mapping[str, complex]
    dc: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Source:
    """A voltage behind an impedance, from `b` (minus) to `a` (plus), present while `when` holds.

    volts: r.m.s. phasor for ac, volts for dc. limit: amperes above which it turns into a constant-current source.
    """

    name: str
    a: str
    b: str
    net: Net
    volts: complex
    ohms: complex
    when: When | None = None
    limit: float | None = None
    off_ohms: float = 1e4
    """What the terminals look like while it is off."""


@dataclass(frozen=True, slots=True)
class Converter:
    """A source of DC that is as strong as the AC at an `Intake` of its device: a rectifier's output, or one half of it.

    While `when` holds it gives `share` of the mean of the rectified AC, from `b` (minus) to `a` (plus), behind `ohms`;
    otherwise its diodes block, `off_ohms`. flaw: state variable that says what is wrong with the diodes. mean, ripple:
    by that variable, DC volts and r.m.s. volts of what an AC range still sees, for one volt r.m.s. of AC.
    """

    name: str
    a: str
    b: str
    when: When
    flaw: str
    mean: Mapping[str, float]
    ripple: Mapping[str, float]
    share: float
    ohms: float
    off_ohms: float = 1e9


@dataclass(frozen=True, slots=True)
class Intake:
    """The AC side of a converter, from `a` to `b`: it takes the power that is drawn between `plus` and `minus`.

    outputs: names of the `Converter` parts that it feeds.
    """

    name: str
    a: str
    b: str
    plus: str
    minus: str
    outputs: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Spare:
    """A pair of terminals that nothing joins unless a fault does: a neighbour touched, a wire laid one terminal on."""

    name: str
    a: str
    b: str


@dataclass(frozen=True, slots=True)
class Law:
    """Moves `var` from `off` to `on` when the volts across (a, b) rise over `rise`, and back when they fall under `fall`.

    rise is tried in state `off`, fall in state `on`. Where `same` is true the device has one threshold and `fall` is
    ignored: a comparator, not a magnet. signed: what counts is the DC volts from b to a, not their size: a diode.
    """

    var: str
    a: str
    b: str
    net: Net
    off: str
    on: str
    rise: Band
    fall: Band
    same: bool = False
    shares: str = ""
    """Name of a threshold that several laws have in common (the inputs of one module); empty: its own."""
    signed: bool = False
    on_s: Band = Band(0.0, 0.0)
    """Seconds that the move to `on` takes, of an armature; it tells how fast a chatter is and nothing else."""
    off_s: Band = Band(0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Given:
    """A state variable that nothing moves but a fault: `value` while the device is good (a rectifier's diodes)."""

    var: str
    value: str


@dataclass(frozen=True, slots=True)
class InterlockLaw:
    """Two armatures with a lever between them: while one is ``in``, the other stays ``out``, whatever its coil gets.

    var: state variable of the lever, ``whole`` or ``broken``; ends: the state variables of the two armatures.
    """

    var: str
    ends: tuple[str, str]


@dataclass(frozen=True, slots=True)
class CurrentLaw:
    """Moves `var` to `over` when the amperes through part `part` exceed `amps`.

    fast: an electronic stage, which acts before anything else moves; otherwise a fuse, which waits until the rest has
    settled (in a bolted short it goes before any armature moves) and then goes one at a time, largest ratio of current
    to `amps` first. again: state variable and value on which a fast stage recovers (``off`` of its own output bit);
    None: it stays.
    """

    var: str
    part: str
    amps: float
    ok: str
    over: str
    fast: bool = False
    again: When | None = None


@dataclass(frozen=True, slots=True)
class LimitLaw:
    """A source that turns into a constant-current source of `amps` (state ``limiting``) and back when relieved."""

    var: str
    part: str
    amps: float


@dataclass(frozen=True, slots=True)
class MotorLaw:
    """Moves `var` between ``still``, ``humming``, ``turning``, ``turning backward`` by the torque of three windings.

    windings: names of the three `Variable` parts that are the resistance of the copper, U V W; cores: of the three behind
    them, where the rotor's field joins the windings: while it turns, forward and backward sequence meet other ohms. What
    stands in a core's own part is only where the solver begins. A shaft held by a brake or a jam only hums; a motor whose
    greatest torque is under the load's stalls.
    """

    var: str
    windings: tuple[str, str, str]
    cores: tuple[str, str, str]
    cage: Cage
    """Ohms of one winding at supply frequency."""
    load_watts: float
    """Torque of the load, the same at every speed, as watts of air gap (times synchronous speed). Over zero."""
    rated_amps: float
    """Of one winding."""
    closed: bool
    """The same current can flow through all three windings at once (a delta, six leads), and meets their leakage only."""
    shares: Mapping[str, float] = field(default_factory=dict)
    """State of the shaft to what it then has to drive, as a share of `load_watts`: a drag, too heavy a load, a coupling
    that is broken. Other states (``free``, ``held``): 1."""


def shaft_of(motor: MotorLaw) -> str:
    """State variable of what is on a motor's shaft: ``free``, ``held``, or one of `MotorLaw.shares`."""
    return f"{motor.var} shaft"


@dataclass(frozen=True, slots=True)
class HeatLaw:
    """Moves `var` from `ok` to `over` once current through `parts` has stood long enough to heat them: a thermal trip.

    Each part warms by d(theta)/dt = ((I / amps)^2 - theta) / tau. What counts is the hottest plus `spread` times how far
    the coldest stays behind it: over zero for a relay that feels a lost phase, under zero where a cold strip holds the
    others back. It moves at `trips`; from `cools` downwards it can be put back, or goes back by itself.
    """

    var: str
    parts: tuple[str, ...]
    amps: float
    seconds: Band
    """Time constant tau of the fastest and the slowest device of this sort."""
    trips: float
    cools: float
    ok: str
    over: str
    spread: float = 0.0
    resets_itself: bool = False


@dataclass(frozen=True, slots=True)
class DelayLaw:
    """Moves `var` from `before` to `after` once all of `when` have held without a break for `seconds`; 0: at once.

    upto: where that time is not fixed (a scan that comes sooner or later), the longest it takes; evenly spread between.
    Several of them on one variable make a sequence (timers, safety relays); where two are ready at once the first one
    listed goes. The variable begins at the `before` of the first one.
    """

    var: str
    before: str
    after: str
    when: tuple[When, ...]
    seconds: float = 0.0
    upto: float = 0.0


@dataclass(frozen=True, slots=True)
class Cpu:
    """The part that runs the program: reads input bits, writes output bits."""

    var: str
    inputs: Mapping[str, str]
    """Point to state variable: ``%IX0.0`` to ``A1 %IX0.0`` with states off, on."""
    outputs: Mapping[str, str]


Part = Branch | Switch | Variable | Source | Converter | Intake | Spare
AnyLaw = Law | CurrentLaw | LimitLaw | MotorLaw | HeatLaw | DelayLaw | Cpu | Given | InterlockLaw


@dataclass(frozen=True, slots=True)
class Control:
    """Something a hand can move: positions, which is usual, whether it springs back."""

    var: str
    positions: tuple[str, ...]
    usual: str
    springs_back: bool = False


@dataclass(frozen=True, slots=True)
class Sign:
    """A light or a thing to look at or hear: its words and how its states look.

    kind: ``light`` (on the face of a module or a lamp), ``look`` (seen or heard at the device), ``compare`` (takes
    tools and minutes, like a program held against its copy; asked only when suspicion falls on it), ``stop`` (how what
    was running comes to rest: seen where it has just been stopped and nowhere else).
    name: the name in the circuit, ``H1``, ``A1 %IX0.0``, ``KM1``. shows: state of `var` to what is seen.
    """

    name: str
    words: str
    kind: Literal["light", "look", "compare", "stop"]
    var: str
    shows: Mapping[str, str]
    face: str = ""
    """Module whose face it is on, in rack order."""
    needs: When | None = None
    """It shows `without` unless this holds: a light is dark while its module has no power."""
    hands: bool = False
    """Seen only with a cover off or a gauge in the hand: asked for on dead, locked parts and never otherwise."""
    without: str = "off"
    """What it shows where `needs` does not hold."""


@dataclass(frozen=True, slots=True)
class ModeEdit:
    """What a failure does to its device.

    does: ``siemens`` (part `name` gets conductance `value`), ``earth`` (pin `name` gets `value` siemens to earth),
    ``stuck`` (state variable `name` never leaves `value`), ``left`` (state variable `name` is found at `value`),
    ``threshold`` (the law of `name` needs `value` times the volts), ``times`` (part `name` has `value` times its
    conductance, in every state).
    """

    does: Literal["siemens", "earth", "stuck", "left", "threshold", "times"]
    name: str
    value: float | str


@dataclass(frozen=True, slots=True)
class Mode:
    """One way a device fails. `words` and `item` may use ``{tag}`` and ``{words}``."""

    name: str
    words: str
    share: float
    """Share of this mode among the broken ones of its kind (they sum to 1); for a condition, its own weight."""
    edits: tuple[ModeEdit, ...]
    act: str
    """What mends it: ``replace``, ``re-make``, ``clean``, ``release``, ``reset``, ``switch on``."""
    item: str
    broken: bool = True
    """False: a condition, nothing is broken."""
    course: Literal["steady", "intermittent", "consequence"] = "steady"
    signs: tuple[tuple[str, str, float], ...] = ()
    """Where physics is silent: question, answer and its chance if this is what is wrong (`evidence.told`). The answers of
    a question that are not here share the rest as they usually do."""


@dataclass(frozen=True, slots=True)
class GroupPoint:
    """One input or output of a group."""

    terminal: str
    """As printed on the module."""
    address: str
    """Direct address (IEC 61131-3), ``%IX0.0``; in most files the terminal itself."""
    words: str


@dataclass(frozen=True, slots=True)
class PointGroup:
    """Points of one sort that share a common terminal."""

    common: str
    what: str
    points: tuple[GroupPoint, ...]


RatingType = Literal[
    "volts", "amps", "watts", "ohms", "farads", "farads per metre", "seconds", "hertz", "metres", "fraction", "integer",
    "text", "device", "choice", "coil", "blocks", "points", "groups", "list", "system",
]  # fmt: skip
"""How a rating is written.

volts .. metres: a number with SI prefix and unit (``120 V``, ``1.5 kW``, ``0.2 ohm``); fraction: ``0.75`` or ``75 %``;
coil: ``24 V DC`` or ``120 V AC`` -> (24.0, "dc"); blocks: mapping ``13-14`` -> ``no`` | ``nc`` | list of positions,
typed as {("13", "14"): ("no",) or ("run", ...)}; points: mapping point -> words; groups: mapping
common terminal -> {what: one of the row's choices, points: mapping terminal -> words}, typed as a tuple of `PointGroup`;
list: texts; system: ``208Y/120`` -> (208.0, 120.0); device: the tag of another device of the file, or nothing.
"""


@dataclass(frozen=True, slots=True)
class Rating:
    """One key a device of this kind may carry in a circuit file."""

    name: str
    type: RatingType
    words: str
    default: object | None = None
    """None: the circuit file must give it."""
    choices: tuple[str, ...] = ()
    source: str = ""


@dataclass(frozen=True, slots=True)
class Kind:
    """A device kind. The callables are pure functions of one device with its ratings filled in."""

    name: str
    words: str
    ratings: tuple[Rating, ...]
    pins: Callable[[Device], tuple[str, ...]]
    parts: Callable[[Device], tuple[Part, ...]]
    laws: Callable[[Device], tuple[AnyLaw, ...]] = lambda _: ()
    controls: Callable[[Device], tuple[Control, ...]] = lambda _: ()
    signs: Callable[[Device], tuple[Sign, ...]] = lambda _: ()
    modes: Callable[[Device], tuple[Mode, ...]] = lambda _: ()
    faces: Callable[[Device], Mapping[str, tuple[str, str]]] = lambda _: {}
    """Named pairs of pins: ``coil`` -> (A1, A2), ``pole 1`` -> (1, 2)."""
    gives: Callable[[Device], tuple[tuple[str, str], ...]] = lambda _: ()
    """Pairs of pins that feed what is behind them without a source of their own, (live, return): the secondary of a
    transformer. Nothing leads through the device."""
    flaws: Callable[[Device], tuple[str, ...]] = lambda _: ()
    """What is wrong between the ratings of one device, each of which is right by itself; the loader tells it."""
    rows: Callable[[Device], tuple[tuple[str, ...], ...]] = lambda _: ()
    """Rows of terminals that sit side by side, where a strand can touch or a wire be laid one terminal on."""
    weight: float = 0.0
    """Relative chance that one such item is the broken thing, per item; see `faults.priors` for sources."""


# What a device's ratings hold is typed by its kind's rows and checked by the loader; these are the one door to them, and
# a `TypeError` here is a kind that reads a key as another type than its own row says.


def number(d: Device, name: str) -> float:
    """A rating of type ``volts`` .. ``fraction``, in the unit of its row."""
    value = d.ratings[name]
    if not isinstance(value, int | float):
        raise TypeError(f"{d.tag}: {name} is no number: {value!r}")
    return float(value)


def coil_of(d: Device, name: str = "coil") -> tuple[float, Net]:
    """A rating of type ``coil``: volts and kind of current."""
    volts, current = cast("tuple[float, Net]", d.ratings[name])
    return volts, current


def system_of(d: Device, name: str) -> tuple[float, float]:
    """A rating of type ``system``: volts line to line and line to neutral."""
    line, phase = cast("tuple[float, float]", d.ratings[name])
    return line, phase


def texts(d: Device, name: str) -> tuple[str, ...]:
    """A rating of type ``list``."""
    return tuple(str(text) for text in cast("tuple[str, ...]", d.ratings[name]))


def points_of(d: Device, name: str) -> Mapping[str, str]:
    """A rating of type ``points``: point to the words for what is wired to it."""
    return cast("Mapping[str, str]", d.ratings[name])


def groups_of(d: Device, name: str = "groups") -> tuple[PointGroup, ...]:
    """A rating of type ``groups``."""
    return cast("tuple[PointGroup, ...]", d.ratings[name])


def blocks_of(d: Device, name: str = "blocks") -> Blocks:
    """The contact blocks: pin pair to the positions in which it is closed, or (``no``,) / (``nc``,)."""
    return cast("Blocks", d.ratings[name])
