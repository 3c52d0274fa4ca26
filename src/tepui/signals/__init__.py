"""Row 1, above the tables: what travels and what screens show, as frozen nouns; the one spectrum, the one resampler.

dvbt/  the definitions of [EN300744] that the sending and the receiving end share
"""
