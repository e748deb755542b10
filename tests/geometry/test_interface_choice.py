"""A study that names a candidate for an interface: pressure, force, gap, age, and what is refused or noted."""

import pytest
from pytest import approx
from small_study import DIE, chip_on_plate

from plancha.geometry.faults import StudyError
from plancha.geometry.interface_table import NEW, find_candidate, impedance_at
from plancha.geometry.study_file import read_study

AREA = 80e-6  # m2, of the chip
PASTE = 'candidate = "paste, filled silicone", age = "new"'
PAD = 'candidate = "pad, 6 W/m/K, 1 mm", age = "new"'
GALLIUM = 'candidate = "gallium alloy", age = "new"'
PLAIN = 'material = { name = "metal", conductivity = "200 W/m/K" }'


def cases(tmp_path, layer, *parts, plate=PLAIN):
    """Load cases of a chip on a plate with an interface written so."""
    text = chip_on_plate(*parts, layers=(DIE, f"{{ {layer} }}")).replace(PLAIN, plate)
    (tmp_path / "study.toml").write_text(text)
    return read_study(tmp_path / "study.toml").cases


def joint(tmp_path, layer, **more):
    """Impedance of the joint [m2 K/W], and the notes."""
    stack = cases(tmp_path, layer, **more)[0].stack
    return stack.joints[0].impedance, stack.notes


def faults(tmp_path, layer, *parts, **more):
    """All that is wrong, in words."""
    with pytest.raises(StudyError) as refused:
        cases(tmp_path, layer, *parts, **more)
    return [str(fault).split("study.toml, ")[1] for fault in refused.value.faults]


def test_a_pressure_thins_the_bond_line_of_the_candidate_named(tmp_path):
    found, notes = joint(tmp_path, f'{PASTE}, pressure = "300 kPa"')
    assert found == approx(2e-6 + 10e-6 * 1.5**-0.166) and notes == ()


def test_a_clamp_force_is_a_pressure_over_the_area_of_contact(tmp_path):
    by_force, notes = joint(tmp_path, f'{PASTE}, force = "24 N"')
    assert by_force == approx(joint(tmp_path, f'{PASTE}, pressure = "300 kPa"')[0])
    assert notes == ('component "chip", layer 2: 24 N over the area of contact are 0.3 MPa',)


def test_a_force_presses_only_where_the_bodies_overlap(tmp_path):
    lid = """[[plate]]
name = "lid"
at = ["30 mm", "0 mm"]
size = ["20 mm", "30 mm"]
thickness = "1 mm"
material = "copper C11000"
on = "plate"
interface = { candidate = "paste, filled silicone", age = "new", force = "90 N" }
"""
    text = (
        chip_on_plate(lid)
        .replace("[plate]\n", '[[plate]]\nname = "plate"\n')
        .replace("[cooling]\n", '[cooling]\non = "lid"\n')
    )
    text = text.replace('limit = "none"', 'on = "plate"\nlimit = "none"')
    (tmp_path / "study.toml").write_text(text)
    stack = read_study(tmp_path / "study.toml").cases[0].stack
    (laid,) = (each for each in stack.joints if each.name == "plate to lid")
    # 10 mm x 30 mm of the lid lie on the plate.
    assert laid.impedance == approx(impedance_at(find_candidate("paste, filled silicone"), NEW, pressure=90 / 300e-6))


def test_without_a_pressure_the_tables_own_is_taken_and_said(tmp_path):
    found, notes = joint(tmp_path, PASTE)
    assert found == approx(12e-6)
    assert notes == (
        'component "chip", layer 2: paste, filled silicone: no pressure is given, so that of its table row is taken, 0.2 MPa',
    )
    assert joint(tmp_path, 'candidate = "solder, indium", age = "new"')[1] == ()


def test_a_pressure_beyond_the_known_ones_is_noted_with_numbers(tmp_path):
    _, notes = joint(tmp_path, f'{PASTE}, force = "240 N"')
    assert any("3 MPa is outside the 50 kPa to 1 MPa for which it is known" in note for note in notes)


def test_a_load_case_ages_the_joint_by_name(tmp_path):
    old = '[[case]]\nname = "old"\nchip.interface.age = "end of life"\n'
    worst = '[[case]]\nname = "worst"\nchip.interface.age = "end of life"\nchip.interface.level = "high"\n'
    laid = [case.stack.joints[0].impedance for case in cases(tmp_path, f'{PASTE}, pressure = "200 kPa"', old, worst)]
    assert laid == approx([12e-6, 20e-6, 50e-6])


def test_a_pad_in_a_gap_has_the_gaps_impedance_and_says_how_hard_it_presses(tmp_path):
    found, notes = joint(tmp_path, f'{PAD}, gap = "0.8 mm", gap_tolerance = "0.05 mm"')
    # The typical bulk of 133 mm2 K/W at 0.7994 mm.
    assert found == approx(13.5e-6 + 133e-6 * 0.8 / 0.7994, rel=1e-4)
    # By hand: 30 kPa exp(ln(16.67) (0.2 - 0.1) / 0.235) = 99.3 kPa on 80 mm2.
    assert notes == (
        'component "chip", layer 2: pad, 6 W/m/K, 1 mm: compressed by 15 % at 54.59 kPa to 25 % at 0.1807 MPa, 7.946 N at the '
        "nominal gap",
    )


def test_high_and_low_impedance_of_a_gap_are_its_widest_and_narrowest(tmp_path):
    levels = [joint(tmp_path, f'{PAD}, gap = "0.8 mm", gap_tolerance = "0.05 mm", level = "{level}"')[0] for level in
              ("low", "typical", "high")]  # fmt: skip
    assert levels[0] < levels[1] < levels[2]
    assert levels[2] == approx(13.5e-6 + 196.5e-6 * 0.85 / 0.7994, rel=1e-4)


def test_a_pad_that_presses_harder_than_allowed_is_noted_with_what_it_can_do(tmp_path):
    _, notes = joint(tmp_path, f'{PAD}, gap = "0.8 mm", gap_tolerance = "0.1 mm", force_limit = "20 N"')
    told = [note for note in notes if "more than the 20 N allowed" in note]
    assert len(told) == 1 and "at the narrowest gap, 0.7 mm" in told[0] and "cracks chips" in told[0]
    assert not any("allowed" in n for n in joint(tmp_path, f'{PAD}, gap = "0.8 mm", force_limit = "20 N"')[1])


def test_a_gap_wider_than_the_pad_is_refused_and_one_that_may_be_is_noted(tmp_path):
    assert faults(tmp_path, f'{PAD}, gap = "1.2 mm"') == [
        'line 14, component "chip", layer 2, gap: pad, 6 W/m/K, 1 mm cannot fill the gap: it is 1 mm thick and does not reach across '
        "1.2 mm; hint: take another thickness or kind"
    ]
    _, notes = joint(tmp_path, f'{PAD}, gap = "0.9 mm", gap_tolerance = "0.2 mm"')
    assert any("at the widest gap, 1.1 mm, it does not touch both faces" in note for note in notes)


@pytest.mark.parametrize(
    ("layer", "words"),
    [
        (
            'candidate = "paste, filled silicone"',
            'a candidate needs its age; allowed: age = "new", or age = "end of life"',
        ),
        ('candidate = "past", age = "new"', 'no interface candidate is called "past"'),
        (f'{PASTE}, impedance = "8 mm^2 K/W"', "a candidate brings its own numbers (found: impedance)"),
        (f'{PASTE}, contact = "1 mm^2 K/W"', "a candidate brings its own numbers (found: contact)"),
        (f'{PASTE}, pressure = "3 kPa", force = "3 N"', "one thing sets the bond line (found: pressure and force)"),
        (f'{PASTE}, pressure = "3 N"', '"3 N" is a force, a pressure is due'),
        (f'{PASTE}, gap_tolerance = "3 um"', "gap_tolerance and force_limit belong to a gap"),
        (f'{PAD}, gap = "0.5 mm", gap_tolerance = "0.5 mm"', "the tolerance is as large as the gap"),
        ('impedance = "8 mm^2 K/W", pressure = "3 kPa"', "pressure belongs to a candidate"),
        ('material = "silicon", thickness = "1 mm", age = "new"', "age belongs to a candidate"),
        ('material = "silicon", thickness = "1 mm", barrier = "nickel"', "barrier belongs to an interface"),
        (f'{PASTE}, thickness = "1 mm"', "a layer is a solid or an interface, not both"),
        ('candidate = "paste, filled silicone", age = "old"', "not one of the choices (found: old)"),
    ],
)
def test_what_contradicts_itself_is_refused_with_its_place(tmp_path, layer, words):
    (told,) = faults(tmp_path, layer)
    assert told.startswith('line 14, component "chip", layer 2') and words in told


def test_a_force_under_fins_of_unknown_contact_asks_for_the_pressure(tmp_path):
    fins = f"""[fins]
form = "plate fins"
along = "x"
pitch = "2 mm"
thickness = "0.5 mm"
height = "10 mm"
material = "aluminium 6063-T5"
interface = {{ {PASTE}, force = "20 N" }}
[flow]
through = "fins"
velocity = "2 m/s"
"""
    told = "\n".join(faults(tmp_path, PASTE, fins))
    assert "the area that the force presses on is not known here; hint: give the pressure" in told


def test_a_gallium_candidate_on_bare_aluminium_is_refused_and_on_plated_cautioned(tmp_path):
    aluminium = 'material = "aluminium 6063-T5"'
    (told,) = faults(tmp_path, GALLIUM, plate=aluminium)
    assert "gallium alloy touches plate, which is aluminium: it attacks aluminium, which crumbles" in told
    plated = cases(tmp_path, f'{GALLIUM}, barrier = "nickel, 4 um"', plate=aluminium)[0].stack.cautions
    assert any(
        "the barrier, nickel, 4 um, keeps the metal below from crumbling only while it is whole" in c for c in plated
    )


def test_the_cautions_of_a_candidate_are_those_of_the_stack(tmp_path):
    cautions = cases(tmp_path, GALLIUM)[0].stack.cautions
    assert cautions == tuple(f"gallium alloy: {each}" for each in find_candidate("gallium alloy").cautions)
