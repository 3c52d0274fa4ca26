"""tepui: plan, build, measure and prove a home-built digital television transmitter.

The tree is a stack and imports run downhill only; docs/architecture.md draws it, docs/nomenclature.md names every
quantity. From the bottom: ground; tables; signals; chain; evidence and practice; jobs; files and report; desk; cli.
"""

__version__ = "0.1.0"
