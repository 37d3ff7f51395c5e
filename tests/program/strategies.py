"""Random boolean expressions over sixteen inputs, as statements and as the same text for another reader."""

from __future__ import annotations

from hypothesis import strategies as st

from troubleshoot.program.model import Chain, Constant, Expression, Ref, Unary

POINTS = [f"%IX0.{bit}" for bit in range(8)]

leaves: st.SearchStrategy[Expression] = st.one_of(
    st.sampled_from(POINTS).map(Ref), st.booleans().map(lambda value: Constant(value, "BOOL"))
)


def _deeper(inner: st.SearchStrategy[Expression]) -> st.SearchStrategy[Expression]:
    chains = st.builds(
        lambda op, first, rest: Chain(first, tuple((op, operand) for operand in rest)),
        st.sampled_from(["AND", "OR", "XOR"]),
        inner,
        st.lists(inner, min_size=1, max_size=4),
    )
    return st.one_of(inner.map(lambda operand: Unary("NOT", operand)), chains)


expressions: st.SearchStrategy[Expression] = st.recursive(leaves, _deeper, max_leaves=25)
inputs: st.SearchStrategy[dict[str, bool]] = st.fixed_dictionaries({point: st.booleans() for point in POINTS})
