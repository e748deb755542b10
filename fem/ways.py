"""The ways of a coolant past one bank, by the entry that a study names; what each leaves out is said beside it."""

from collections.abc import Callable

from plancha.fem.side_entry import SideEntry, side_entry
from plancha.fem.through_flow import ThroughFlow, through_flow
from plancha.fem.top_entry import TopEntry, top_entry
from plancha.fem.way import Passing

LEFT_OUT = {
    "side": "lanes do not mix; what slips over the tips or beside takes no heat; steps inside the passage lose no pressure",
    "top": "the coolant mixes over the fins' height on its way out, and developed flow is assumed: +-20 to 30 % on its coefficient",
    "through": "each column of coolant keeps to itself from end to end",
}

ENTRIES: dict[str, Callable[[Passing], SideEntry | TopEntry | ThroughFlow]] = {
    "side": side_entry,
    "top": top_entry,
    "through": through_flow,
}
