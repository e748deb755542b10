"""What the model leaves out, as sentences: every report carries them, and the README says the same (a test holds them together)."""

LEFT_OUT = (
    "Steady state only.",
    "Natural convection and radiation exist as films only, on faces that say so (`natural`, `emissivity`), each with one coefficient "
    "by the face's mean temperature; a face that does not say so gives off nothing.",
    "Faces do not see one another, chimneys and fins on a level base have no law here, and no room is computed: the air beyond the "
    "face is as warm as you say.",
    "Heat does not run sideways inside an interface's bond line, nor round the corner of a patch that is thicker or thinner.",
    "Outlines are upright prisms: no slopes, no warpage, no voids unless drawn.",
    "A film's coolant does not warm up along its way (a `[[flow]]` does).",
    "Lanes and columns of a coolant do not mix; swirl, leaks and condensation are left out.",
    "Heat pipes and chambers are layers that conduct: their own limits are not checked.",
    "Power follows temperature only where `leakage` or `resistive` say so.",
    "Circles are polygons of equal area.",
)
