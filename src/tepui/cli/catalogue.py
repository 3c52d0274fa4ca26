"""The verbs that exist, one line each; the module ``verbs/VERB.py`` is loaded only for the verb chosen."""

VERBS = {
    "receive": "Decode recordings of a DVB-T transmitter: mode, quality with its doubt, and the transport stream.",
    "spectrum": "Measure a wide recording or many narrow ones: shoulders, width, lines and floor, each with its doubt.",
    "drive": "Find the drive setting: where the shoulder meets the target, with its doubt, and what the next dB costs.",
    "bench": "Open the bench in the browser, on this machine: recordings in, results with their pictures out.",
    "demo": "Run the whole job on a built-in practice station, from packets to air and back.",
}
