"""An honest imaginary station: what it sends and records goes the same way as the real thing, marked as practice.

``station`` is Marl Bay and its plan; ``transmitter`` drives its amplifier, ``path`` adds echoes, ``receiver`` records
with the faults of a real one; ``bench`` runs all of it. ``blocks`` and ``chirp`` are the arithmetic beneath.
"""
