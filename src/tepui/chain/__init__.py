"""Row 2: the physics, one package per link, in signal order. The links do not import each other.

programme   pictures and sound to a transport stream
waveform    transport stream to samples
reception   samples to transport stream, and what was seen on the way
"""
