"""Row 3: the chain put together, before anything is measured.

waveform_density  spectrum of the modulated waveform as an amplifier sees it
drive             drive curves of a mode, where they cross a target, and what to set
"""
