"""Addresses of the sheets of path, modes, map and care."""

from typing import TYPE_CHECKING

from starlette.routing import Route

if TYPE_CHECKING:
    from tepui.web.app import Pages


def path_routes(pages: "Pages") -> list[Route]:
    """Every route of these sheets."""
    return [
        Route("/path", pages.path_sheet),
        Route("/path/keep", pages.keep_path, methods=["POST"]),
        Route("/mode", pages.mode_sheet),
        Route("/map", pages.map_sheet, methods=["GET"]),
        Route("/map", pages.make_map, methods=["POST"]),
        Route("/map/{number:int}/tile/{layer}/{zoom:int}/{x:int}/{y:int}.png", pages.map_tile),
        Route("/map/{number:int}/at", pages.map_point),
        Route("/care", pages.care_sheet, methods=["GET"]),
        Route("/care/keep", pages.keep_care, methods=["POST"]),
        Route("/care/tick", pages.tick, methods=["POST"]),
    ]
