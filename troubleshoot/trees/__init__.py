"""A human order of tests, written once by role and bound to any machine that has the roles.

Belongs here: the nodes of a tree, reading them from YAML text, binding roles, faces, paths and branch labels to one
machine, lint, and finding the place in a tree by walking it over what was seen.
Not here: the trees themselves (YAML in the folder `trees/` of the repository), what a reading means (evidence), where
a job stands (job).
Knows: safety, diagnosis, evidence, faults, solve, circuit, text. Pure: no clock, no disk, no terminal.
"""

from troubleshoot.trees.bind import Bound, bind
from troubleshoot.trees.load import load_tree
from troubleshoot.trees.model import Tree
from troubleshoot.trees.walk import Walk, walk

__all__ = ["Bound", "Tree", "Walk", "bind", "load_tree", "walk"]
