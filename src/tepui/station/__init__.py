"""Row 4: what the operator owns, read from one strict file.

rules     what a key of the file may hold, and its meaning
figures   a number with its doubt, origin and place in the file
nouns     the tables of the file as frozen dataclasses; each field carries its rule, so there is one definition
lines     on which line of the file a key stands
read      text of the file into nouns, or one sentence that says what is wrong
order     what must hold between tables: order of the stages, names, levels against limits
responses filters: a curve over frequency from whatever the file states
schema    the published JSON schema, made from the same rules
assemble  the one place that turns nouns into what row 3 works on
example   the complete commented file that ``tepui new`` writes
keys      every key as a page of words
"""
