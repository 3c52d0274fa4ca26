"""The programme: first in the chain, what the modulator is given to send.

``stream`` makes a transport stream at an exact rate from ``card`` (picture), ``ident`` (sound) and ``budget`` (who
gets how many bits); ``packets`` reads one, with ``sections``, ``information``, ``text`` and ``clock`` beneath it.
"""
