"""The command line: it asks, hands over to ``desk/`` and shows; it never computes.

main        entry: chooses the verb, turns every failure into one sentence and an exit code
catalogue   the verbs that exist, one line each
parsing     argparse with sentences instead of usage dumps, and option values with units
output      what a verb prints is held back until it has succeeded
verbs/      one module per verb, loaded only when chosen
"""
