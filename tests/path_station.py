"""A station of our own invention on the public-domain terrain cut, for the sheets of path and map."""

STATION = """\
format = 1
[station]
call = "Q2ABC"
name = "Hoar Ridge"
coordinates = "36.59, -84.25"
antenna_height = "20 m"
[channel]
centre = "1275 MHz"
width = "6 MHz"
fft = "8K"
guard = "1/32"
constellation = "QPSK"
code_rate = "1/2"
[path]
terrain = "wgs84.tif"
terrain_kind = "surface"
noise_figure = "2 dB"
[licence]
band = "1240..1300 MHz"
exposure_max = "f/200 W/m2"
[[stage]]
name = "modulator"
kind = "modulator"
level = "0 dBm ± 1 dB"
[[stage]]
name = "amplifier"
kind = "amplifier"
gain = "40 dB ± 1 dB"
p1db = "48 dBm"
[[stage]]
name = "feeder"
kind = "feeder"
loss = "1.6 dB ± 0.2 dB"
[[stage]]
name = "antenna"
kind = "antenna"
gain = "14 dBi ± 1 dB"
pattern = "yagi.csv"
diameter = "2 m"
[[far]]
call = "Q3GHJ"
coordinates = "36.52, -84.17"
antenna_height = "12 m"
antenna_gain = "15 dBi"
feeder_loss = "2 dB"
noise_figure = "3 dB"
power = "30 dBm"
[[far]]
call = "Q4KLM"
coordinates = "36.66, -84.33"
antenna_height = "8 m"
antenna_gain = "12 dBi"
noise_figure = "4 dB"
"""
