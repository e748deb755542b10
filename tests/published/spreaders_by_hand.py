"""The hand estimates that open the examples of spreaders and boards, worked out again; numbers are those of the studies."""

from math import cosh, hypot, log, pi, sinh, sqrt

from scipy.special import k0, k1


def silicon(kelvin: float) -> float:
    return 148 * (kelvin / 300) ** -1.3


def void_by_hand() -> float:
    """What a void 3 mm across adds to the peak [K]: the die as a thin disc over it, and a thin sheet on solder around it."""
    flux, sheet, radius = 120 / 144e-6, silicon(348) * 0.3e-3, 1.5e-3
    ring = sqrt(sheet * 100e-6 / 58)
    return flux * radius / sheet * (radius / 4 + ring / 2 * k0(radius / ring) / k1(radius / ring))


def inlaid_base_by_hand() -> float:
    """Peak of the voided die [degC]: both plates as one on the film, a cone through the inlay, the chain, and the void."""
    die, cone = 12e-3, 20e-3
    plates = 167 * 4e-3 + 209 * 10e-3
    decay, radius = sqrt(plates / 5000), cone / sqrt(pi)
    far = range(-9, 10)
    others = sum(k0(hypot(40e-3 * m, 50e-3 * n) / decay) for m in far for n in far if m or n)
    own = 120 / (5000 * cone**2) * (1 - radius / decay * k1(radius / decay))
    below = own + 120 * others / (2 * pi * plates) + 120 / cone**2 * (10e-3 / (3 * 209) + 47.5e-6 / 3 + 3e-6)
    inlay = 120 * 4e-3 / (388 * die * cone)
    return 30 + below + inlay + 120 / die**2 * (100e-6 / 58 + 0.3e-3 / silicon(348)) + void_by_hand()


def handheld_by_hand() -> tuple[float, float]:
    """Temperature of the processor [degC] and heat out of the front [W]: a network of two nodes."""
    die = 11e-3**2
    copper = 2 * (30e-6 * 0.6 + 17e-6 * 0.9 + 17e-6 * 0.5)
    board = copper * 388 + (0.8e-3 - copper) * 0.3
    to_board = 60e-6 / die + (log(sqrt(62e-3 * 56e-3 / die)) - 0.5) / (2 * pi * board)
    front = 1 / (6 * 62e-3 * 56e-3)
    film, rim = 1 / (1 / 9 + 1e-3 / 0.2), sqrt(0.2 * 1e-3 / 9)
    length, width, left = 130e-3 + 2 * rim, 60e-3 + 2 * rim, 35.5e-3 + rim
    decay = sqrt(1000 * 0.1e-3 / film)
    fin = cosh(left / decay) * cosh((length - left) / decay) / (film * width * decay * sinh(length / decay))
    # Line sources at the period of the strip, isotropic once stretched; the centre of an even disc is 1/2 above its rim.
    near = (log(width * (1000 / 600) ** 0.25 / (2 * sqrt(pi * die))) + 0.5) / (2 * pi * sqrt(1000 * 600) * 0.1e-3)
    back = fin + near + 85e-6 / die
    # processor: 1.8 = (T - 25)/back + (T - B)/to_board;  board: 0.7 + (T - B)/to_board = (B - 35)/front
    share = front / (front + to_board)
    processor = (1.8 + 25 / back + share * (0.7 + 35 / front)) / (1 / back + (1 - share) / to_board)
    board_mean = (0.7 + 35 / front + processor / to_board) / (1 / to_board + 1 / front)
    return processor, (board_mean - 35) / front


def layered_chamber_by_hand() -> float:
    """Peak of the processor [degC]: fins in parallel, vapour as a fin, wick, wall, paste and die at full flux."""
    fins = 500 * (7200e-6 + 2 * 1200e-6) + 300 * 3600e-6
    vapour = 80 * 70e-3 / (3 * 20000 * 1.2e-3 * 60e-3)
    return 35 + 168 / fins + vapour + 40e4 * (0.5e-3 / 40 + 0.4e-3 / 388 + 10e-6 + 0.775e-3 / silicon(348))


def evaporator_wick_by_hand() -> float:
    """Mean drop through the lower wick under the processor [K]: full flux, less at the four rims, where the wall spreads."""
    spread = sqrt(388 * 0.4e-3 * 0.5e-3 / 40)
    return 40e4 * 0.5e-3 / 40 * (1 - spread / 20e-3) ** 2
