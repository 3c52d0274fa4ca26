"""An honest imaginary station: what it sends and records goes the same way as the real thing, marked as practice.

``station`` is Marl Bay and its plan; ``transmitter`` drives its amplifier, ``path`` adds echoes, ``receiver`` records
with the faults of a real one; ``bench`` runs all of it. ``blocks`` and ``chirp`` are the arithmetic beneath.
``air`` closes a transmission to a loop, ``tuner`` has the narrow and the 12-bit receiver with pads and steps of gain
ahead of and behind ``front_end``, and ``listening`` hands out their recordings and endless blocks.
"""
