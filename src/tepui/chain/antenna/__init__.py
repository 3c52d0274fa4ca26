"""Where stations stand and what their antennas do: places, bearings, patterns, and the field close by.

places    locators and coordinates as text, with the box a locator leaves open
geodesic  distance and true bearings on the ellipsoid
pattern   gain over angle: pointing and polarisation loss
exposure  power density near the antenna against published reference levels
"""
