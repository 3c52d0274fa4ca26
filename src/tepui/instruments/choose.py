"""Names of receivers: how the operator tells which one is meant.

``practice`` is the simulated one and always there. Others bear the name of their driver, with a number where
several have the same; the receiver library's own words ("driver=NAME,serial=...") are taken too.
"""

from dataclasses import dataclass

from tepui.ground.errors import InputError
from tepui.instruments.capture import CapturedReceiver, driver_devices

PRACTICE = "practice"
TELLING = ("driver", "serial", "device_id", "label")


@dataclass(frozen=True, kw_only=True)
class Found:
    """A receiver that can be opened. arguments are the library's own words; label is the driver's for people."""

    key: str
    label: str
    driver: str
    arguments: str
    practice: bool = False


THE_PRACTICE_ONE = Found(
    key=PRACTICE,
    label="simulated narrow 8-bit receiver on the practice station",
    driver=PRACTICE,
    arguments="",
    practice=True,
)


def found_receivers() -> tuple[Found, ...]:
    """Receivers the library's drivers see.

    raises  InputError where the library is missing
    """
    devices = driver_devices()
    drivers = [device.get("driver", "receiver") for device in devices]
    found = []
    for number, (driver, device) in enumerate(zip(drivers, devices, strict=True)):
        key = driver if drivers.count(driver) == 1 else f"{driver}-{1 + drivers[:number].count(driver)}"
        words = ",".join(f"{name}={device[name]}" for name in TELLING if "," not in device.get(name, ","))
        found.append(Found(key=key, label=device.get("label", driver), driver=driver, arguments=words))
    return tuple(found)


def open_receiver(key: str) -> CapturedReceiver:
    """The receiver of this name, opened and silent.

    raises  InputError where there is none of this name
    """
    if key == PRACTICE or key.startswith(f"{PRACTICE}:"):
        return CapturedReceiver(kind=PRACTICE, arguments=key.partition(":")[2], key=PRACTICE)
    if "=" in key:
        return CapturedReceiver(kind="soapy", arguments=key, key=key)
    found = found_receivers()
    for one in found:
        if one.key == key:
            return CapturedReceiver(kind="soapy", arguments=one.arguments, key=key)
    names = ", ".join([*(one.key for one in found), PRACTICE])
    raise InputError(f"no receiver named {key} is there; there are: {names}.")
