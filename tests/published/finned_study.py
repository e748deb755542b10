"""The text of a small study whose fins a fan cools, as a user would write it, and its fan's curve; invented, lengths in mm."""

FAN_CURVE = "flow [m^3/h], static pressure [Pa]\n0, 160\n20, 140\n40, 110\n60, 70\n80, 0\n"


def finned_plate(
    flow: str = 'entry = "side"\nside = "left"\nfans = "fan"',
    fan: str = 'level = "40 dB(A)"\nnoise_limit = "42 dB(A)"',
    fins: str = "",
    limit: str = "70 degC",
    more: str = "",
) -> str:
    """The study: further keys of its tables as texts, further tables in ``more``; beside it stands fan.csv."""
    return f"""\
title = "a finned plate (invented)"
ambient = "25 degC"
accuracy = "5 %"
[plate]
size = ["60 mm", "40 mm"]
thickness = "3 mm"
material = {{ name = "metal", conductivity = "200 W/m/K" }}
[[component]]
name = "chip"
at = ["10 mm", "12 mm"]
size = ["12 mm", "16 mm"]
limit = "{limit}"
power = "40 W"
layers = []
[[fins]]
form = "plate fins"
along = "x"
pitch = "3 mm"
thickness = "0.5 mm"
height = "12 mm"
material = {{ name = "fin metal", conductivity = "200 W/m/K" }}
{fins}
[[flow]]
name = "air"
fluid = "air"
{flow}
[[fan]]
name = "fan"
curve = "fan.csv"
test_density = "1.2 kg/m^3"
test_speed = "3000 rpm"
{fan}
{more}"""
