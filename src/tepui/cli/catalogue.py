"""The verbs that exist, one line each; the module ``verbs/VERB.py`` is loaded only for the verb chosen."""

VERBS = {
    "receive": "Decode recordings of a DVB-T transmitter: mode, quality with its doubt, and the transport stream.",
    "spectrum": "Measure a wide recording: shoulders, width, peaks, ripple, lines and floor, each with its doubt.",
    "drive": "Find the drive setting: where the shoulder meets the target, with its doubt, and what the next dB costs.",
    "filter": "Design a band-pass filter from metal to trace: dimensions, screws, predicted response, cutting drawing.",
    "tune": "Read a measured filter: which resonator to turn which way, by how much, and what no screw can mend.",
    "demo": "Run the whole job on a built-in practice station, from packets to air and back.",
}
