"""The page of laws: what the records say, every law in it, none without a source."""

from pathlib import Path

from plancha.app.law_reference import FORMS, REGISTRIES, laws_markdown, said, source_of
from plancha.fem import convection, natural
from plancha.fem.spreading import lee_spreading_resistance
from plancha.geometry.air_tables import ConvectionLaw, FrictionLaw

PAGE = Path(__file__).parents[2] / "docs" / "laws.md"


def test_the_page_in_docs_is_the_generated_text():
    assert PAGE.read_text(encoding="utf-8") == laws_markdown(), "run python -m plancha.app.law_reference docs/laws.md"


def test_every_law_that_a_study_may_name_is_in_the_page():
    page = laws_markdown()
    for name in (*ConvectionLaw.__args__, *FrictionLaw.__args__):
        assert f"\n| {name} |" in page
    assert all(f"\n| {name} |" in page for name in natural.LAWS)


def test_no_law_is_without_a_source():
    assert all(law.source for laws in REGISTRIES.values() for law in laws.values())
    assert all(source_of(form) for forms in FORMS.values() for form in forms)


def test_formulas_are_taken_whole_from_the_docstrings():
    """By the docstrings themselves, read by eye."""
    assert "`` Nu = 7.55 + 0.024 x*^(-1.14)/(1 + 0.0358 Pr^0.17 x*^(-0.64)) ``" in said(convection.developing_gap)
    assert said(lee_spreading_resistance).endswith("maximum (1-e) phi/(pi k a). ``")
    assert source_of(lee_spreading_resistance).startswith("Lee, Song, Au and Moran (1995)")


def test_rows_of_the_tables_have_as_many_cells_as_their_heads():
    widths = {}
    for line in laws_markdown().splitlines():
        if line.startswith("|"):
            widths.setdefault(len(line.replace("\\|", "").split("|")), []).append(line)
    assert set(widths) == {5, 6, 7}
