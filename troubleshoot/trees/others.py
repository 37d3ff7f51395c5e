"""A tree gone through once more for the second or third device of every role that has so many: the other motor, its contactor."""

from __future__ import annotations

from collections.abc import Container, Mapping
from dataclasses import replace

from troubleshoot.trees import model
from troubleshoot.trees.model import Branch, DevicePoint, FacePoint, PinPoint, PointName, Probe, SignName, WiredPoint
from troubleshoot.trees.roles import is_known, shifted

Roles = Mapping[str, tuple[str, ...]]


def shifted_situation(name: str, ordinal: str, situations: Container[str]) -> str:
    """``second start held`` for ``start held`` where there is such a situation, else the same."""
    other = f"{ordinal} {name}"
    return other if ordinal and other in situations else name


def shifted_node(node: model.Node, ordinal: str, roles: Roles, situations: Container[str]) -> model.Node:
    """The node as it speaks of the second devices. Raises nothing."""
    node = replace(node, situation=shifted_situation(node.situation, ordinal, situations))
    match node:
        case model.Look() | model.Lights():
            items = tuple(SignName(shifted(i.role, ordinal, roles), i.which) for i in node.items)
            return replace(node, items=items, branches=tuple(_sign(b, ordinal, roles) for b in node.branches))
        case model.Operate():
            return replace(node, name=shifted_situation(node.name, ordinal, situations))
        case model.Measure():
            probes = tuple(
                Probe(_point(p.red, ordinal, roles), p.black and _point(p.black, ordinal, roles)) for p in node.probes
            )
            said = {str(old): str(new) for old, new in zip(node.probes, probes, strict=True)}
            branches = tuple(replace(b, item=said.get(b.item, b.item)) for b in node.branches)
            against = node.against and _point(node.against, ordinal, roles)
            return replace(node, probes=probes, against=against, branches=branches)
        case model.Halve():
            against = node.against and _point(node.against, ordinal, roles)
            start, end = _point(node.start, ordinal, roles), _point(node.end, ordinal, roles)
            return replace(node, start=start, end=end, against=against)
        case model.Go():
            return replace(node, devices=node.devices or ordinal)
        case _:
            return node


def _sign(branch: Branch, ordinal: str, roles: Roles) -> Branch:
    which, _, role = branch.item.rpartition(" of ")
    if which in model.WHICH and is_known(role):
        return replace(branch, item=f"{which} of {shifted(role, ordinal, roles)}")
    return replace(branch, item=shifted(branch.item, ordinal, roles))


def _point(point: PointName, ordinal: str, roles: Roles) -> PointName:
    match point:
        case FacePoint() | WiredPoint() | DevicePoint():
            return replace(point, role=shifted(point.role, ordinal, roles))
        case PinPoint():
            return replace(point, device=shifted(point.device, ordinal, roles))
        case _:
            return point
