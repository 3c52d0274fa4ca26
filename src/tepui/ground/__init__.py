"""Row 0: what every page stands on, and no radio.

checks, errors            the one way to refuse, each a sentence to the operator
decibels, quantity, doubt numbers: levels and ratios, text to SI, estimates
findings                  the only thing the program says
finding_text, listing     a finding and many findings for people
document                  the same for machines
kernels, tasks            compiled code and its cache; the seam for parallel work
"""
