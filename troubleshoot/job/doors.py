"""What is looked at behind a door with power on: which doors, and the caution that stands above the list. Pure."""

from __future__ import annotations

from collections.abc import Collection, Iterable

from troubleshoot.circuit.model import Place
from troubleshoot.evidence.seen import Light, Look, Meter
from troubleshoot.job.desk import Desk
from troubleshoot.job.state import State
from troubleshoot.safety.caution import place_danger
from troubleshoot.safety.levels import approach
from troubleshoot.safety.volts import supply_volts
from troubleshoot.text.showing import show


def behind(desk: Desk, items: Iterable[object]) -> tuple[str, ...]:
    """Places behind a door that must be open to see some of these; the handle of a disconnect is seen from outside."""
    devices, places = desk.machine.circuit.devices, desk.machine.circuit.places
    return tuple(dict.fromkeys(
        devices[tag].place for tag in devices_seen(desk, items)
        if tag in devices and devices[tag].kind != "disconnect" and devices[tag].place in places
        and places[devices[tag].place].door
    ))  # fmt: skip


def _places_of(desk: Desk, devices: Iterable[str]) -> tuple[Place, ...]:
    """The places of these, each once; what is no device is left out."""
    circuit = desk.machine.circuit
    names = dict.fromkeys(circuit.devices[tag].place for tag in devices if tag in circuit.devices)
    return tuple(circuit.places[name] for name in names if name in circuit.places)


def place_dangers(desk: Desk, devices: Iterable[str]) -> tuple[str, ...]:
    """What can hurt where these devices are, besides volts and what moves: said with the power on or off."""
    return tuple(said for place in _places_of(desk, devices) if (said := place_danger(place)))


def to_take_along(desk: Desk, state: State, devices: Iterable[str]) -> str:
    """What has to be fetched before the first trip to where these devices are; empty where nothing has, or one was there."""
    at = desk.machine.circuit.devices
    been = {at[s.what.red.device].place for s in state.evidence if isinstance(s.what, Meter)}
    new = [place for place in _places_of(desk, devices) if place.needs and place.name not in been]
    return "; ".join(f"{show(', '.join(p.needs))}, for {show(p.words or p.name)}" for p in new)


def devices_seen(desk: Desk, items: Iterable[object]) -> tuple[str, ...]:
    """Devices to which one has to go to see these."""
    signs = desk.machine.net.signs
    return tuple(signs[i.name].var.partition(" ")[0] for i in items if isinstance(i, Light | Look) and i.name in signs)


def shut_places(desk: Desk, out: Collection[str]) -> str:
    """Places with a door that nobody may open for now, in words; empty where there are none. out: what cannot be used."""
    places = desk.machine.circuit.places.values()
    return " and ".join(show(p.words or p.name) for p in places if p.door and p.name in out)


def door_caution(desk: Desk, items: Iterable[object]) -> str:
    """What stands before a look behind a door with power on; empty where no door has to be opened for it.

    The volts are the highest that the supplies give anywhere on the machine, so never below what lies open there.
    """
    places = desk.machine.circuit.places
    where = " and ".join(show(places[p].words or p) for p in behind(desk, items))
    if not where:
        return ""
    found = supply_volts(desk.reasoner)
    keep = approach(found.ac, found.dc).partition(" from ")[0].partition(";")[0].rstrip(".")
    return (
        f"{where} is LIVE, up to {found.words}: by its window; door open only if qualified, eyes only. {keep}, PPE per "
        "site. May not? n."
    )
