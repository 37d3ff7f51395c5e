"""Find the fault in a motor control circuit, and prove that it is repaired."""

__version__ = "0.1.0"
