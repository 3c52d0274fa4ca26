"""Local services found in a recording or a table of the local band."""

from collections.abc import Sequence

from tepui.evidence.local_services import Occupied
from tepui.ground.findings import Finding, Table
from tepui.jobs.statements import exact

SOURCE = "occupied channels 12 dB above the lower quartile, common practice"


def local_findings(found: Sequence[Occupied], *, source: str) -> tuple[list[Finding], Table]:
    """How many there are, and a table of them."""
    finding = exact("station", "local_services", len(found), "1", source=SOURCE,
                    remark=f"Found in {source}; no IF is put on them.")  # fmt: skip
    rows = tuple((one.centre_hz, one.width_hz, one.above_floor_db) for one in found)
    columns = (("centre_hz", "Hz"), ("width_hz", "Hz"), ("above_floor_db", "dB"))
    return [finding], Table(name="local_services", columns=columns, rows=rows)
