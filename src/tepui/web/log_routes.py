"""The addresses of the log and of the evening's sheet."""

from typing import Any

from starlette.routing import Route


def log_routes(pages: Any) -> list[Route]:
    """Their routes, for the application."""
    return [
        Route("/tonight", pages.tonight, methods=["GET"]),
        Route("/tonight/tick", pages.tonight_tick, methods=["POST"]),
        Route("/tonight/anew", pages.tonight_anew, methods=["POST"]),
        Route("/tonight/enter", pages.tonight_enter, methods=["POST"]),
        Route("/log", pages.log, methods=["GET"]),
        Route("/log/add/{kind}", pages.log_ask, methods=["GET"]),
        Route("/log/add/{kind}", pages.log_enter, methods=["POST"]),
        Route("/log/entry/{number:int}", pages.log_entry, methods=["GET"]),
        Route("/log/entry/{number:int}/edit", pages.log_edit, methods=["POST"]),
        Route("/log/entry/{number:int}/undo", pages.log_undo, methods=["POST"]),
        Route("/log/entry/{number:int}/withdraw", pages.log_withdraw, methods=["POST"]),
        Route("/log/entry/{number:int}/file/{digest}", pages.log_file, methods=["GET"]),
        Route("/log/bring", pages.log_bring, methods=["GET"]),
        Route("/log/photograph", pages.log_photograph, methods=["POST"]),
        Route("/log/recording", pages.log_recording, methods=["POST"]),
        Route("/log/station", pages.log_station, methods=["POST"]),
        Route("/log/keep", pages.log_keep, methods=["POST"]),
        Route("/log/import", pages.log_import, methods=["POST"]),
        Route("/log/export.{ending}", pages.log_export, methods=["GET"]),
        Route("/log/trend", pages.log_trend, methods=["GET"]),
    ]
