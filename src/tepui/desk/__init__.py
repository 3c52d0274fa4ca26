"""Row 7: one function per verb: open, run, keep, hand back.

setup   kernels compiled once
keep    where a verb may write, and writing that leaves nothing half-done
hashes  sha256 of the inputs, beside the work
"""
