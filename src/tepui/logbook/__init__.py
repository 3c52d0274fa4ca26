"""Row 6: the record of the station, one SQLite file that only grows.

kinds     what an entry may be, field by field
schema    the tables, and the steps from an older version to the newest
records   one revision as a line of JSON, with its checksum
database  opening: versions, damage, backups, refusals in words
copybook  the second copy in plain lines, from which a damaged file is rebuilt
rows      revisions as rows of the tables, and back
store     adding, editing, undoing and reading
"""
