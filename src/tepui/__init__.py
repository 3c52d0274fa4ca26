"""tepui: plan, build, measure and prove a home-built digital television transmitter.

The tree is a stack; imports run downhill only (docs/nomenclature.md names every quantity):
ground, tables and signals, chain, prediction and evidence and practice, station, jobs, files and report, desk, cli.
"""

__version__ = "0.1.0"
