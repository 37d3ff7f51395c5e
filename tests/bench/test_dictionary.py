"""How long the whole dictionary takes: every suspect in every named situation, from a fresh network.

Asked for with ``pytest -n 0 tests/bench``. One group: ours in lockstep, against the same settles one by one through LAPACK.
"""

from __future__ import annotations

import pytest
from against import belt7

import troubleshoot.solve.network as network_room
from troubleshoot.solve.elimination import LEAK_S
from troubleshoot.solve.settle import settle, settle_many

np = pytest.importorskip("numpy")
pytest.importorskip("pytest_benchmark")


def _cases():
    return [(s.edits, n.situation) for s in belt7.suspects().values() for n in belt7.circuit().situations.values()]


def _lapack(plan, siemens, injected, to_earth=None):
    """`node_voltages`, network by network, by a dense nodal matrix and `numpy.linalg.solve`."""
    out = np.empty(injected.shape, np.result_type(siemens.dtype, injected.dtype))
    one, two = plan.element_nodes[:, 0], plan.element_nodes[:, 1]
    for case in range(siemens.shape[1]):
        matrix = np.zeros((plan.nodes + 1, plan.nodes + 1), siemens.dtype)
        s = siemens[:, case]
        for i, j, sign in ((one, one, 1), (two, two, 1), (one, two, -1), (two, one, -1)):
            np.add.at(matrix, (i, j), sign * s)
        matrix = matrix[: plan.nodes, : plan.nodes]
        matrix[np.diag_indices(plan.nodes)] += LEAK_S + (0 if to_earth is None else to_earth[:, case])
        out[:, :, case] = np.linalg.solve(matrix, injected[:, :, case])
    return out


@pytest.mark.benchmark(group="dictionary of belt-7")
def test_in_lockstep_by_star_mesh_elimination(benchmark):
    found = benchmark.pedantic(
        lambda net: settle_many(net, _cases()), setup=lambda: ((belt7.fresh_net(),), {}), rounds=3
    )
    assert len(found) == len(_cases())


@pytest.mark.benchmark(group="dictionary of belt-7")
def test_one_by_one_by_dense_lapack(benchmark, monkeypatch):
    """The same settling and the same cache of networks; only each network is solved alone, as a full matrix."""
    monkeypatch.setattr(network_room, "node_voltages", _lapack)

    def run(net):
        return [settle(net, edits, situation) for edits, situation in _cases()]

    found = benchmark.pedantic(run, setup=lambda: ((belt7.fresh_net(),), {}), rounds=1)
    assert len(found) == len(_cases())
