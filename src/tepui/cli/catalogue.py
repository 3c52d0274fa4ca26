"""The verbs that exist, one line each; the module ``verbs/VERB.py`` is loaded only for the verb chosen."""

VERBS = {
    "new": "Write a complete, commented station file to begin with, or one from a few questions.",
    "check": "Read a station file: every prediction it allows, and every verdict it does not.",
    "levels": "Say what each test point should show, take readings in, print the bring-up card.",
    "frequencies": "Plan the frequencies: all products of every IF and oscillator, ranked plans, why the rest lost.",
    "mode": "Choose the mode: rate, robustness and echo reach of all modes, video rate, settings card.",
    "receive": "Decode recordings of a DVB-T transmitter: mode, quality with its doubt, and the transport stream.",
    "spectrum": "Measure recordings, wide ones or many narrow: shoulders, width, ripple, lines and floor.",
    "receivers": "List the receivers there are, or describe and check one, ready for the station file.",
    "record": "Record from a receiver to SigMF: one frequency, or a list of tunings, unattended.",
    "watch": "Watch both shoulders live while the drive is turned, in figures to be read across the workshop.",
    "drive": "Find the drive setting: where the shoulder meets the target, with its doubt, and what the next dB costs.",
    "filter": "Design a band-pass filter from metal to trace: dimensions, screws, predicted response, cutting drawing.",
    "tune": "Read a measured filter: which resonator to turn which way, by how much, and what no screw can mend.",
    "bench": "Open the bench in the browser, on this machine: recordings in, results with their pictures out.",
    "path": "Predict a path: loss term by term, obstacle, levels, margin of every mode, and what is uncertain.",
    "coverage": "Map who will see the picture: levels, C/N and modes around one transmitter or several.",
    "log": "Keep the record: readings, recordings, findings, contacts, checks, notes; export, import, trend.",
    "report": "Print the station as built: one PDF, a settings card, a build package, every table.",
    "demo": "Run the whole job on a built-in practice station, from packets to air and back.",
}
