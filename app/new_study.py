"""The study that `plancha new` writes, and the page's first example."""

NEW_STUDY = """\
# Invented data. A first study: change it, then run   plancha check study.toml   and   plancha solve study.toml
title = "First study (invented)"
ambient = "35 degC"

[plate]                           # seen from the cooled side, x right, y up, origin at the lower left corner
size = ["100 mm", "80 mm"]
thickness = "3 mm"
material = "copper C11000"        # plancha materials   lists them

[[component]]
name = "processor"
at = ["36 mm", "30 mm"]
size = ["24 mm", "20 mm"]
limit = "95 degC"
power = "180 W"
map = { file = "power_map.csv", unit = "W/cm^2", seen_from = "cooled side", scale = true }
layers = [                        # from the chip outward
    { material = "silicon", thickness = "0.775 mm" },
    { name = "interface", bond_line = "50 um", conductivity = "5 W/m/K", contact = "2 mm^2 K/W" },
]

[cooling]                         # on the cooled side of the plate
coefficient = "2500 W/m^2/K"      # of the bare face, fins included

[[case]]                          # load cases: any number may be overridden by name
name = "hot day, aged interface"
ambient = "45 degC"
processor.interface.bond_line = "80 um"
"""
NEW_MAP = """\
# invented; first row = top row, as seen from the cooled side
20,20,25,25,20,20
20,60,90,40,25,20
20,60,60,40,25,20
30,30,40,40,30,20
30,30,30,30,30,30
"""
