"""The path sheet and the mode sheet: what the station file and a few fields ask of ``tepui path`` and ``tepui mode``.

Theory  Each far station has its path; the sheet shows the one that the address names. What is typed beside the file
        goes into the address, so that a sheet can be kept, sent and come back to.
Source  our own design; the verbs ``path`` and ``mode``.
Holds   A bench with a station file; without one the sheet leads to the form and to the station.
"""

from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from markupsafe import Markup
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from tepui.ground.finding_text import label_text
from tepui.web.bars import doubt_bar
from tepui.web.forms import Option
from tepui.web.marks import finding_of, limit, number, value
from tepui.web.mode_drawing import mode_drawing
from tepui.web.path_drawing import profile_drawing
from tepui.web.standing import Standing
from tepui.web.state import BenchState
from tepui.web.station_text import named_files, paths_of
from tepui.web.views import counts_of

ASKED = (
    Option(
        name="model",
        label="Model",
        choices=("", "free-space", "knife-edge", "p526", "p1812", "p452"),
        blank="as in the file",
    ),
    Option(name="clutter-loss", label="Trees and houses", hint="loss to add", example="12 dB ± 8 dB"),
    Option(name="tx-height", label="Own antenna above ground", example="20 m"),
    Option(name="rx-height", label="Far antenna above ground", example="12 m"),
    Option(name="rain", label="Rain along the path", hint="mm/h, from 1 GHz", example="30"),
    Option(name="margin", label="Margin to keep", example="6 dB"),
)
FORM_FIELDS = 20
WISHES = (
    Option(name="rate", label="Least bit rate", example="5 Mbit/s"),
    Option(name="echo", label="Longest echo", hint="time or path", example="4 km"),
    Option(name="speed", label="Speed of a moving station", example="100 km/h"),
    Option(name="margin", label="Margin to keep", example="8 dB"),
)
GEOMETRY = ("distance_m", "bearing_out_deg", "bearing_back_deg", "radio_horizon_m", "fresnel_clearance",
            "obstacle_distance_m", "obstacle_height_m", "clear_rise_m", "clear_rise_tx_m",
            "clear_rise_rx_m")  # fmt: skip
LINK = ("loss_total_db", "loss_free_space_db", "loss_diffraction_db", "loss_knife_edge_db", "loss_air_db",
        "loss_rain_db", "margin_rain_db", "fading_allowance_db", "eirp_dbm", "receive_level_dbm", "system_noise_db",
        "noise_power_dbm", "cn_db", "mer_expected_db", "mode_choice", "wind_down_db", "pad_margin_db",
        "dominant_unknown")  # fmt: skip
BACK = ("margin_db", "cn_db", "receive_level_dbm", "eirp_dbm", "system_noise_db", "mode_choice", "wind_down_db")


@dataclass(frozen=True, kw_only=True)
class Row:
    """A finding as a row of a table."""

    label: str
    value: Markup
    remark: str


class PathPages(ABC):
    """The path sheet and the mode sheet."""

    _state: BenchState
    _standing: Standing

    @abstractmethod
    def _page(self, request: Request, template: str, *, status: int = 200, **shown: Any) -> Response:
        """A template filled in; Pages has it."""

    async def path_sheet(self, request: Request) -> Response:
        """The path to one far station."""
        return await run_in_threadpool(self._path_sheet, request)

    def _path_sheet(self, request: Request) -> Response:
        chain = self._state.chain
        text = chain.text()
        calls = paths_of(text)
        given = {option.name: request.query_params.get(option.name, "").strip() for option in ASKED}
        told = request.query_params.get("to", "").strip()
        to = told or (calls[0] if calls else "")
        shown: dict[str, Any] = {
            "calls": calls,
            "to": to,
            "given": given,
            "options": ASKED,
            "view": None,
            "stood": None,
        }
        shown |= {"has_station": bool(text), "command": ""}
        if text and to:
            words = path_words(chain.station, to, given)
            files = [chain.station, *named_files(text, chain.station.parent)]
            stood = self._standing.get(words, files=files, title=f"path to {to}")
            shown |= {"stood": stood, "command": self._state.command(words)}
            if stood.document is not None:
                shown["view"] = path_view(stood.document)
                findings = [finding_of(one) for one in stood.document["findings"]]
                shown["counts"] = counts_of(findings)
        return self._page(request, "path.html", place="path", **shown)

    async def keep_path(self, request: Request) -> Response:
        """Keep the path with its drawing among the results: for the report."""
        async with request.form(max_files=0, max_fields=FORM_FIELDS) as sent:
            given = {key: str(text).strip() for key, text in sent.items()}
        asked = {option.name: given.get(option.name, "") for option in ASKED}
        words = path_words(self._state.chain.station, given.get("to", ""), asked)
        work = self._state.workshop.submit(words, title=f"path to {given.get('to', '')}")
        return RedirectResponse(f"/result/{work.number}", 303)

    async def mode_sheet(self, request: Request) -> Response:
        """The modes of the channel, against what the path leaves."""
        return await run_in_threadpool(self._mode_sheet, request)

    def _mode_sheet(self, request: Request) -> Response:
        chain = self._state.chain
        text = chain.text()
        given = {option.name: request.query_params.get(option.name, "").strip() for option in WISHES}
        calls = paths_of(text)
        told = request.query_params.get("to", "").strip()
        to = told or (calls[0] if calls else "")
        shown: dict[str, Any] = {"given": given, "options": WISHES, "view": None, "stood": None, "command": ""}
        shown |= {"has_station": bool(text), "calls": calls, "to": to, "cn": None, "waits": None, "sentence": ""}
        if text:
            files = [chain.station, *named_files(text, chain.station.parent)]
            cn = None
            if to:
                path = self._standing.get(["path", str(chain.station), "--to", to], files=files, title=f"path to {to}")
                cn = _found(path.document, f"path:{to}", "cn_db")
                shown["stood"] = path
            words = ["mode", str(chain.station)]
            for name, typed in given.items():
                words += [f"--{name}", typed] if typed else []
            if cn is not None:
                words += ["--cn", f"{cn['value']:.2f} dB"]
            stood = self._standing.get(words, files=files, title="modes")
            refused = stood.sentence
            if refused and cn is not None:
                words = words[:-2]
                stood = self._standing.get(words, files=files, title="modes")
            waits = stood.waits_for if shown["stood"] is None else shown["stood"].waits_for or stood.waits_for
            shown |= {"waits": waits, "sentence": refused or stood.sentence, "cn": cn}
            shown["command"] = self._state.command(words)
            if stood.document is not None:
                shown["view"] = mode_view(stood.document, cn)
                shown["counts"] = counts_of([finding_of(one) for one in stood.document["findings"]])
        return self._page(request, "mode.html", place="source", **shown)


def path_words(station: Path, to: str, given: Mapping[str, str]) -> list[str]:
    """The words of the command that the sheet stands on."""
    words = ["path", str(station), "--to", to]
    for name, typed in given.items():
        words += [f"--{name}", typed] if typed else []
    return words


def path_view(document: Mapping[str, Any]) -> dict[str, Any]:
    """A path's document laid out for its sheet."""
    findings = [finding_of(one) for one in document["findings"]]
    about = next(one.about for one in findings if one.about.startswith("path:"))
    practice = bool(document["practice"])
    by_key = {one.key: one for one in findings if one.about == about}
    back = {one.key: one for one in findings if one.about == f"{about}-back"}

    def rows(found: Mapping[str, Any], keys: Sequence[str]) -> list[Row]:
        return [
            Row(label=label_text(key), value=value(found[key], practice=practice, digits=4), remark=found[key].remark)
            for key in keys
            if key in found
        ]

    leading = by_key.get("margin_db") or by_key["loss_total_db"]
    cautions = list({one.remark: one for one in findings if one.kind == "caution"}.values())
    return {
        "about": about.partition(":")[2],
        "drawing": profile_drawing(document, about=about),
        "leading": Row(label=label_text(leading.key), value=value(leading, practice=practice), remark=leading.remark),
        "bar": doubt_bar(leading, practice=practice),
        "limit": limit(leading),
        "visible": bool(by_key["path_visible"].value),
        "ground": by_key["distance_m"].remark,
        "geometry": rows(by_key, GEOMETRY),
        "link": rows(by_key, LINK),
        "back": rows(back, BACK),
        "modes": cells(document, "mode_margins", about,
                       ("constellation", "code_rate", "net_bit_rate_bps", "required_cn_db", "margin_db")),
        "wind": cells(document, "wind_down", about, ("reduction_db", "level_dbm", "cn_db", "mer_db", "margin_db")),
        "cautions": [Row(label=label_text(one.key), value=value(one), remark=one.remark) for one in cautions],
        "kept": None if leading.limit is None else f"{leading.limit:g}",
    }  # fmt: skip


def cells(document: Mapping[str, Any], name: str, about: str, keys: Sequence[str]) -> list[dict[str, str]]:
    """Rows of one path's table, each cell as text under its key."""
    table = document["tables"].get(name)
    if table is None:
        return []
    places = {column["key"]: place for place, column in enumerate(table["columns"])}
    found = []
    for row in table["rows"]:
        if "about" in places and row[places["about"]] != about:
            continue
        found.append({key: _cell(key, row[places[key]]) for key in keys})
    return found


def _cell(key: str, cell: Any) -> str:
    if cell is None:
        return "none"
    if key == "net_bit_rate_bps":
        return f"{cell / 1e6:.3f}"
    return number(f"{cell:.1f}") if isinstance(cell, float) else str(cell)


def _found(document: Mapping[str, Any] | None, about: str, key: str) -> Mapping[str, Any] | None:
    """A finding of a path, whatever the case of its call; None where there is none."""
    for one in () if document is None else document["findings"]:
        if one["key"] == key and one["about"].casefold() == about.casefold() and one["value"] is not None:
            return dict(one)
    return None


def mode_view(document: Mapping[str, Any], cn: Mapping[str, Any] | None) -> dict[str, Any]:
    """The modes of a channel laid out for their sheet."""
    findings = {one["key"]: finding_of(one) for one in document["findings"]}
    table = document["tables"]["modes"]
    names = [column["key"] for column in table["columns"]]
    rows = [dict(zip(names, row, strict=True)) for row in table["rows"]]
    told = {key: findings[key].value for key in ("fft_size", "guard_fraction", "constellation", "code_rate")
            if key in findings}  # fmt: skip
    size, guard = told.get("fft_size", rows[0]["fft_size"]), told.get("guard_fraction", rows[0]["guard_fraction"])
    alike = [row for row in rows if row["fft_size"] == size and row["guard_fraction"] == guard]
    chosen = f"{told.get('constellation', '')} {told.get('code_rate', '')}"
    rate = findings.get("net_bit_rate_bps")
    card = document["tables"].get("settings_card", {"rows": []})["rows"]
    keys = ("required_cn_db", "cn_over_required_db", "video_rate_max_bps", "guard_s", "guard_path_m", "latency_s",
            "doppler_max_hz", "interference_max_db", "receiver_support", "packets_per_superframe")  # fmt: skip
    return {
        "recommended": findings["mode_recommended"],
        "rate_remark": "" if rate is None else rate.remark,
        "rate_value": value(findings["mode_recommended"]) if rate is None else value(rate, digits=6),
        "drawing": mode_drawing(alike, cn=cn, chosen=chosen),
        "rows": [
            {
                "name": f"{row['constellation']} {row['code_rate']}",
                "rate": f"{row['net_bit_rate_bps'] / 1e6:.3f}",
                "needs": number(f"{row['required_cn_db']:.1f}"),
                "margin": "" if cn is None else number(f"{cn['value'] - row['required_cn_db']:.1f}"),
                "chosen": f"{row['constellation']} {row['code_rate']}" == chosen,
            }
            for row in alike
        ],
        "findings": [
            Row(label=label_text(key), value=value(findings[key], digits=5), remark=findings[key].remark)
            for key in keys
            if key in findings
        ],
        "card": [(str(row[0]), str(row[1])) for row in card],
        "cautions": [one for one in findings.values() if one.kind == "caution"],
    }
