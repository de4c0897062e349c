"""Names of the files of every command, and of those a run before may have left."""

from __future__ import annotations

#: Files of a survey, in the order they are written.
FILES: tuple[str, ...] = (
    "findings.json",
    "surface.nc",
    "lining.glb",
    "lining.ply",
    "lining.vtp",
    "rebuild.stl",
    "masonry.glb",
    "map.png",
    "report.html",
    "repair-sheet.pdf",
)
#: Pictures for papers, in the forms that may be asked for.
STILL_FORMS = ("svg", "pdf", "png")
STILL_VIEWS = ("map", "level-sections", "upright-sections", "round")
CHANGE_FILES = ("change.json", "change.nc", "change.png", "change.html")
WEAR_FILES = ("wear.json", "wear.nc", "wear-map.png", "wear.html", "heats.html")
CAMPAIGN_FILES = ("campaigns.json", "campaigns.html")
RECHECK_FILES = ("recheck.json", "certificate.pdf")
#: The day of a repair, to print.
DAY_FILES = ("day.pdf",)
#: The blank rod sheet to type into, and the one to print.
SHEET_FILES = WORKBOOK, PAPER = "rod-sheet.xlsx", "rod-sheet.pdf"

#: What does not outlive a new survey in its folder: its own files, and what was judged
#: by them.
SURVEYED = frozenset(
    {
        *FILES,
        *RECHECK_FILES,
        *(f"still-{view}.{form}" for view in STILL_VIEWS for form in STILL_FORMS),
    }
)
