"""The page of checks and trend: what this month lacks, how the quantities moved, what far stations read."""

from abc import ABC, abstractmethod
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from tepui.ground.finding_text import label_text
from tepui.ground.findings import Finding
from tepui.jobs.monthly import MONTHLY_FIVE
from tepui.web.marks import finding_of, value
from tepui.web.pictures import inline
from tepui.web.state import BenchState
from tepui.web.views import cells_of, counts_of

TABLES = ("trend", "far_reports")


def _name(finding: Finding) -> str:
    """Of what a finding of the trend is: a quantity, or a far station."""
    kind, _, name = finding.about.partition(":")
    return label_text(name) if kind == "set" else name


class LogTrendPages(ABC):
    """Checks of the month and their trend."""

    _state: BenchState

    @abstractmethod
    def _page(self, request: Request, template: str, *, status: int = 200, **shown: Any) -> Response:
        """A template filled in; Pages has it."""

    async def log_trend(self, request: Request) -> Response:
        """The trend."""
        return await run_in_threadpool(self._trend, request)

    def _trend(self, request: Request) -> Response:
        chain = self._state.chain
        trend = chain.trend.now()
        month = datetime.now(UTC).strftime("%Y-%m")
        held = {
            str(entry.revision.body["key"])
            for entry in chain.log.entries()
            if entry.revision.kind == "check" and not entry.revision.withdrawn and entry.revision.body["month"] == month
        }
        document: Mapping[str, Any] = trend.document or {"findings": [], "tables": {}, "files": [], "practice": False}
        practice, tables = bool(document["practice"]), document["tables"]
        found = [finding_of(one) for one in document["findings"]]
        return self._page(
            request,
            "log_trend.html",
            month=month,
            due=[label_text(key) for key in MONTHLY_FIVE if key not in held],
            refused=trend.work.sentence if trend.work is not None and trend.work.ended else "",
            work=trend.work if trend.work is not None and not trend.work.ended else None,
            pictures=[
                (Path(name).stem, inline(Path(name).read_text(encoding="utf-8"), name=Path(name).stem))
                for name in document["files"]
                if name.endswith(".svg") and Path(name).is_file()
            ],
            lines=[(_name(one), label_text(one.key), value(one, practice=practice), one.remark) for one in found],
            cautions=[one for one in found if one.kind == "caution"],
            tables=[cells_of(name, tables[name]) for name in TABLES if tables.get(name, {}).get("rows")],
            counts=counts_of(found) if found else (),
        )
