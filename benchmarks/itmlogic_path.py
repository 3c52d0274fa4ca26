"""A point-to-point case of the pure-Python Longley-Rice library, prepared as its own example does."""

import math


def prepared(profile_m, step_m):
    """The dictionary its quick-look routine takes, for 1.27 GHz, 30 m and 10 m, average ground."""
    frequency_mhz, n_0, eps, sigma = 1270.0, 301.0, 15.0, 0.005
    prop = {"fmhz": frequency_mhz, "hg": [30.0, 10.0], "kwx": 0, "wn": frequency_mhz / 47.7, "mdp": -1}
    prop.update({"klimx": 5, "lvar": 5, "mdvarx": 11, "ptx": 0, "klim": 5, "mdvar": 11, "eps": eps, "sgm": sigma})
    prop["ens0"] = n_0
    mean = sum(profile_m) / len(profile_m)
    prop["ens"] = n_0 * math.exp(-mean / 9460)
    prop["gma"] = 157e-9
    prop["gme"] = prop["gma"] * (1 - 0.04665 * math.exp(prop["ens"] / 179.3))
    ground = complex(eps, 376.62 * sigma / prop["wn"])
    prop["zgnd"] = (ground - 1) ** 0.5
    prop["pfl"] = [len(profile_m) - 1, step_m, *profile_m]
    return prop
