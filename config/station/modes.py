"""The table of the work that a station does, in the order of the loop."""

from __future__ import annotations

from config.station import assembling, emergency, inspecting, loading, returning, storing, theatre, unloading
from config.station.screen import Mode
from journal.roles import Right

AGAIN = "Scanned again means: looked at, and as it should be. Two reads within 2 seconds count as one."

MODES: dict[str, Mode] = {
    mode.slug: mode
    for mode in (
        Mode(
            "return",
            "Return",
            "undo-2",
            Right.RECEIVE,
            "Scan the pack or the tray that comes back.",
            (
                "Scan the pack or its tray, then each piece of it. What is not counted yet stands under Still open.",
                "A piece that is scanned without its pack is counted for the pack it went out with.",
                "Close the count when nothing more comes: whatever is left is missing from then on, by name.",
                "An unopened pack goes back to the shelf if its barrier is intact. " + AGAIN,
            ),
            returning.take,
            returning.show,
            returning.PRESSES,
        ),
        Mode(
            "wash-in",
            "Load a washer",
            "washing-machine",
            Right.WASH,
            "Scan the washer.",
            (
                "Scan the washer, then each returned set by its pack or tray; loose pieces one by one.",
                "Take apart what must be, take caps off, open ports and taps, then start the load.",
            ),
            loading.WASHING.take,
            loading.WASHING.show,
            loading.PRESSES,
        ),
        Mode(
            "wash-out",
            "Unload a washer",
            "droplets",
            Right.STERILISE,
            "Scan the washer, or its load.",
            (
                "Scan the washer that has ended, and say what its record of phases and doses shows.",
                "Its pieces are not clean before the load is released: go on to the load.",
            ),
            unloading.WASHERS.take,
            unloading.WASHERS.show,
            unloading.PRESSES,
        ),
        Mode(
            "inspect",
            "Inspect",
            "search",
            Right.INSPECT,
            "Scan a cleaned piece.",
            (
                "Scan a piece and look at it under magnification.",
                "Clean and working, its function test passed: scan it again. " + AGAIN,
                "An insulated piece needs the result of its insulation test: a second scan is not enough.",
            ),
            inspecting.take,
            inspecting.show,
            inspecting.PRESSES,
        ),
        Mode(
            "assemble",
            "Assemble",
            "list-checks",
            Right.ASSEMBLE,
            "Scan the tray to assemble.",
            (
                "Scan a tray to open its bench; scan a piece to see which tray wants it, or to pack it by itself.",
                "Scan the printed label back: that shows that it can be read and stands on the right pack.",
            ),
            assembling.take,
            assembling.show,
            assembling.PRESSES,
        ),
        Mode(
            "sterilise-in",
            "Load a steriliser",
            "thermometer",
            Right.STERILISE,
            "Scan the steriliser.",
            ("Scan the steriliser, choose the programme, scan each pack, then start the load.",),
            loading.STERILISING.take,
            loading.STERILISING.show,
            loading.PRESSES,
        ),
        Mode(
            "sterilise-out",
            "Unload a steriliser",
            "package-open",
            Right.STERILISE,
            "Scan the steriliser, its load, or a pack of it.",
            (
                "Look at each pack as it comes out, and name those that are wet or torn.",
                "Nothing is sterile before the load is released: go on to the load.",
            ),
            unloading.STERILISERS.take,
            unloading.STERILISERS.show,
            unloading.PRESSES,
        ),
        Mode(
            "store",
            "Store",
            "box",
            Right.STORE,
            "Scan the place, then each pack; or a pack, then its place.",
            (
                "A place that is scanned first stays until the next place.",
                "A pack that is scanned first waits for its own place.",
            ),
            storing.take,
            storing.show,
        ),
        Mode(
            "issue",
            "Issue to a case",
            "arrow-right",
            Right.ISSUE,
            "Scan the case.",
            (
                "Scan the case, then each pack for it. Look at the barrier, then scan the pack again to issue it.",
                AGAIN,
                "A pack that is to serve another case needs a reason: the page asks for it.",
            ),
            theatre.take_for_issue,
            theatre.show_for_issue,
            theatre.ISSUE_PRESSES,
        ),
        Mode(
            "emergency",
            "Emergency",
            "bell",
            Right.ISSUE,
            "Scan the mark of the theatre.",
            (
                "For an emergency on no list: scan the theatre, then the set; look at its barrier, and scan it again.",
                "Its case is made by that, with a code of its own, and the coordinators are told to look at the list.",
            ),
            emergency.take,
            emergency.show,
            emergency.PRESSES,
        ),
        Mode(
            "open",
            "Open for a case",
            "package-open",
            Right.ISSUE,
            "Scan the pack that is opened.",
            (
                "Scan each pack as it is opened; its pieces are in use from then on.",
                "Scan an implant to record that it was implanted.",
                "Scan a piece that was dropped or failed and say so; then scan the single pack in its place, twice.",
            ),
            theatre.take_for_opening,
            theatre.show_for_opening,
            theatre.OPENING_PRESSES,
        ),
    )
}
