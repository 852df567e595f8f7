"""Trials of the archive run: old prints, faults, throughput. Each is a command that prints its figures."""
