"""Loss between two antennas: free space, diffraction, ducting, troposcatter, gases, and the view that teaches.

path_kernels   one compiled path with switches: P.526, P.1812, P.452
models         what goes in (``PathCase``) and every term that comes out (``PathLoss``)
gases          attenuation of air after P.676
edges          Fresnel clearance, horizon, the obstacle and the height that clears it
"""
