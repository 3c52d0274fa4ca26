"""The station file that ``tepui new`` writes: a 23 cm station of our own invention, complete and commented.

Theory  A file one can read is the best manual of a file one must write; every table and most keys stand in it once.
Source  our own invention: place, callsign and figures are made up; a test reads the text and runs every verb on it.
Holds   Format 1.
"""

from collections.abc import Mapping

from tepui.ground.errors import InputError
from tepui.ground.quantity import parse_quantity

MODULATOR_HZ, RECEIVER_HZ = 809e6, 474e6
BETWEEN_HZ = 1e9  # below it the oscillators stand above the channel

# What --ask may replace: key -> (question, value in the example).
QUESTIONS: Mapping[str, tuple[str, str]] = {
    "call": ("Your callsign", "Q1TPU"),
    "name": ("Name of the place", "Slate Ridge"),
    "locator": ("Maidenhead locator", "HI45kt"),
    "centre": ("Centre of the channel", "1286 MHz"),
    "width": ("Channel width", "7 MHz"),
    "band": ("Band the signal must stay in", "1240..1300 MHz"),
    "level": ("Mean output of the modulator", "-11 dBm ± 1.5 dB"),
    "gain": ("Gain of the power amplifier", "26 dB ± 2 dB"),
    "p1db": ("Output of the power amplifier at 1 dB compression", "45 dBm"),
    "ambient": ("Hottest air around the box", "35 degC"),
}

EXAMPLE = """\
# A station file of tepui. A quantity is text with its unit; after ± stands a 95 % doubt, A..B is anything between.
# { value = "30 dB ± 2 dB", origin = "data sheet" } tells whose word it is: measured, data sheet, guess, library.
# Leave out what you do not know: nothing is made up for you, and "tepui check" says what is worth knowing.
format = 1

[station]
call = "@call@"                     # Q1TPU is nobody's: put your own
name = "@name@"
locator = "@locator@"
antenna_height = "40 m"              # above ground; coordinates = "..." where known better than the locator
ambient = "@ambient@"                # hottest air around the box; without it no word on sinks and fans
enclosure = "vented"                # open, vented or closed
air_rise = "10 K"                   # by how much the air may warm on its way through the box

[channel]
centre = "@centre@"
width = "@width@"
fft = "8K"                          # 2K, 4K or 8K
guard = "1/16"
constellation = "QPSK"
code_rate = "3/4"
side = "@side@"                        # oscillator below the channel, or above: "high"

[target]
shoulder = "-32 dB"                 # what you want to stay below
confidence = "90 %"                 # and how sure
mer = "26 dB"
power_max = "10 W"
power_basis = "unclear"             # mean, pep or unclear: then both are shown

# Limits are yours to enter, from your own licence and papers: tepui knows none and judges none.
[licence]
band = "@band@"
# spurious_max = "-30 dBm"          # any harmonic, image or other line
# exposure_max = "f/200 W/m2"       # power density where people may be; f in MHz, or a number
# reflection = 1.6                  # factor on the field from ground reflection
# source = "my licence sheet"

# How paths and maps are worked out. Tiles of terrain stand in a folder beside this file.
[path]
# terrain = "tiles"
# terrain_kind = "surface"          # surface or bare
model = "p526"                      # free-space, knife-edge, p526, p1812, p452
clutter_loss = "12 dB ± 8 dB"       # trees and houses, a guess
noise_figure = "2 dB"               # of the own receiver, for the way back

[supply]
voltage = "13.8 V"
current_max = "12 A"
cable_length = "2 m"                # one way
cable_area = "2.5 mm2"
ripple = "20 mV"
# battery = "60 Ah"
# battery_usable = "50 %"

[programme]
service = "@name@"
audio = "0.13 Mbit/s"
tables = "0.06 Mbit/s"
headroom = "5 %"

# The chain, in signal order. A test point "after NAME" follows each stage.
[[stage]]
name = "modulator"
kind = "modulator"
level = "@level@"         # mean output as it is set
step = "0.1 dB"
tunes = "170..860 MHz"
raster = "1 MHz"
mer = "38 dB ± 1 dB"
supply = "12 V"
current = "0.9 A"

[[stage]]
name = "mixer"
kind = "mixer"
frequency = "@oscillator@"               # the oscillator, as it reaches the mixer
loss = "6.5 dB ± 1.2 dB"
lo_level = "7 dBm"                  # a level-7 diode ring
lo_isolation = "28 dB ± 6 dB"
max_input = "13 dBm"
oscillator_mer = "36 dB ± 2 dB"     # what its phase noise alone would leave

[[stage]]
name = "filter"
kind = "filter"
width = "20 MHz"                    # a filter to be made; or loss = "1.8 dB ± 0.6 dB",
poles = 3                           # or response = "filter.s2p", "loss.csv", [[1280, 0.9], [1286, 0.8], [1292, 0.9]]
ripple = "0.1 dB"
unloaded_q = 1000
drift = "23 ppm/K"                  # an aluminium box

[[stage]]
name = "driver"
kind = "amplifier"
gain = { value = "29.8 dB ± 1.8 dB", origin = "data sheet" }
noise_figure = "4 dB"
p1db = { value = "24 dBm ± 1 dB", origin = "data sheet" }
oip3 = { value = "37 dBm ± 2 dB", origin = "data sheet" }
max_input = "5 dBm"
supply = "12 V"
current = "0.4 A"

[[stage]]
name = "amplifier"
kind = "amplifier"
gain = { value = "@gain@", origin = "data sheet" }
p1db = { value = "@p1db@", origin = "data sheet" }
# saturated = "46.5 dBm"            # with p1db: how sharply it bends
# drive_curve = ["0 dBm: 26 dBm", "10 dBm: 36 dBm", "20 dBm: 44.5 dBm"]     # single carrier, if you measured it
max_input = "20 dBm"
harmonic_2 = "-30 dBc ± 6 dB"
amplifier_class = "AB"
supply = "13.8 V"
current = { value = "5.2 A ± 0.5 A", origin = "measured", reading = "display of the supply" }
idle = "2.5 A"
case_max = "80 degC"
interface = "0.15 K/W"              # case to sink

[[stage]]
name = "feeder"
kind = "feeder"
cable = "1/2 in foam corrugated"    # from the table of cables; or loss = "1.4 dB ± 0.2 dB"
length = "12 m"

[[stage]]
name = "antenna"
kind = "antenna"
part = "long Yagi"                  # a generic part of the library; or gain = "18 dBi ± 1 dB"
diameter = "2.5 m"

# What draws current and is no stage.
[[consumer]]
name = "oscillator"
supply = "5 V"
current = "0.5 A"
converter = "85 %"

# What you measure with.
[[instrument]]
name = "head"
kind = "thermal head"               # log detector, envelope detector, peak detector, diode probe, receiver ...
accuracy = "0.4 dB"                 # one offset that all its readings share
repeat = "0.1 dB"                   # new at each reading
pads = "40 dB"
pad_power = "25 W"
min_input = "-30 dBm"
max_input = "20 dBm"

[[instrument]]
name = "narrow"
kind = "receiver"
accuracy = "3 dB"
bits = 8
rate = "2.4 MHz"
usable = "1.8 MHz"
dc_width = "0.1 MHz"
pads = "60 dB"
max_input = "-10 dBm"

# Who should see the picture.
[[far]]
call = "Q2DEF"
locator = "HI46ob"
antenna_height = "40 m"
antenna_gain = "13 dBi"
feeder_loss = "2 dB"
noise_figure = "3 dB"
power = "30 dBm"                    # of its transmitter, for the way back
converter = "@converter@"               # oscillator of a converter before its receiver
converter_error = "20 ppm"
tunes = "174..230 MHz, 470..862 MHz"
"""


def _oscillators(centre: str) -> Mapping[str, str]:
    """Oscillators that go with a channel: 809 MHz out of the modulator, 474 MHz into the far receiver."""
    try:
        centre_hz = parse_quantity(centre, kind="frequency").value
    except InputError:
        centre_hz = parse_quantity(QUESTIONS["centre"][1], kind="frequency").value  # the reader refuses the answer
    low = centre_hz > BETWEEN_HZ
    sign = -1 if low else 1
    found = {"side": "low" if low else "high"}
    for key, signal_hz in (("oscillator", MODULATOR_HZ), ("converter", RECEIVER_HZ)):
        found[key] = f"{(centre_hz + sign * signal_hz) / 1e6:.9g} MHz"
    return found


def example_text(answers: Mapping[str, str] | None = None) -> str:
    """The file's text, with answers in place of the example's values where there are any.

    answers  by the keys of QUESTIONS; what is missing stays as in the example
    """
    text = EXAMPLE
    chosen_centre = QUESTIONS["centre"][1] if answers is None else answers.get("centre", QUESTIONS["centre"][1])
    for key, value in _oscillators(chosen_centre).items():
        text = text.replace(f"@{key}@", value)
    for key, (_, value) in QUESTIONS.items():
        chosen = value if answers is None else answers.get(key, value)
        text = text.replace(f"@{key}@", chosen.replace("\\", "\\\\").replace('"', '\\"'))
    return text
