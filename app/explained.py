"""The words beside a budget and a ladder: what each step and each rung means, for a reader who has not met them."""

BUDGET_WORDS = (
    "The budget follows the heat of one component from its hottest point to the reference, plane by plane; its steps add up to the "
    "peak's rise. Each step is the difference of two area means over the component's footprint, with the heat that crosses it.",
    "“Hot spot above the mean” is what the power map's concentration costs inside the chip. “Through” is the drop across a "
    "solid, an interface's name the drop across that joint. “Spreading” is how far the footprint lies above the mean of the whole "
    "face on which the component sits. The last step is the way into the coolant.",
    "Where a step has no K/W, other components' heat goes through it too, and a quotient would mean nothing. The lumped column is "
    "the one-dimensional chain that one would write on paper: it has no spreading and no hot spot.",
)
LADDER_WORDS = (
    "The ladder starts from that chain and replaces one assumption at a time, in a fixed order, until it arrives at the solution. "
    "Each change says what that assumption was worth here, in kelvin of the peak. A large change with a minus sign after a large one "
    "with a plus sign means that the closed form does not suit this case, not that the solution is in doubt.",
)
RUNG_WORDS = {
    "one-dimensional chain, no spreading": "each body and joint as a resistance in series, the whole cooled face at one temperature",
    "spreading by the closed form (maximum)": "the closed form of Lee, Song, Au and Moran (1995): one round source in the middle of "
    "a round plate, evenly heated and evenly cooled",
    "true footprints: thin plates, even heat": "all components where they are and all bodies in their outlines, each body at one "
    "temperature through its thickness; power even over each component",
    "true power maps": "heat where the maps have it",
    "thickness resolved": "temperature may vary through each body",
    "k(T)": "conductivities follow the temperature",
    "cooling field": "the coefficient varies over the face as its map says",
    "fins and coolant": "fins conduct, and the coolant warms up on its way",
    "power by temperature": "leakage and losses grow with temperature",
    "as solved": "nothing was left to replace",
}


def rung_words(name: str) -> str:
    """What a rung of the ladder has that the one before has not; the last one may have several things at once."""
    if name in RUNG_WORDS:
        return RUNG_WORDS[name]
    return "; ".join(RUNG_WORDS.get(part, part) for part in name.split(", "))
