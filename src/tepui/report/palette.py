"""The few colours of every picture: ink on a sheet, and the one warm pencil for what was read.

Theory  Literal colours, so that a picture prints and travels alone; a page turns them into its own by this list.
Source  our own design.
Holds   Day and paper; night is the page's affair.
"""

SHEET, WASH, INK, INK_SOFT, RULE, HAIR = "#f8f8f4", "#eceee7", "#14202a", "#435059", "#74818a", "#cdd2cc"
PENCIL, PENCIL_WASH = "#a93406", "#f2ddcf"
