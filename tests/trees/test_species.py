"""The table of species: how a name is met, and what a broken table says.

Killing temperatures are `published` as the table's own `source` says, and no better than its `tag`.
"""

from pathlib import Path

import pytest

from monitor.errors import SettingsError
from monitor.trees.species import TAGS, load_species, shipped_species


@pytest.mark.parametrize(
    ("written", "name"),
    [
        ("Acer palmatum", "Acer palmatum"),
        ("acer  PALMATUM 'Deshojo'", "Acer palmatum"),
        ("Acer palmatum ’Deshojo’", "Acer palmatum"),
        ("Japanese maple", "Acer palmatum"),
        ("Taxus × media", "Taxus x media"),
        ("Taxus x media 'Hicksii'", "Taxus x media"),
        ("Larix decidua", "Larix"),
        ("Yew", "Taxus"),
    ],
)
def test_a_species_is_found_under_its_usual_spellings(written: str, name: str) -> None:
    """Case, cultivars, hybrid signs, common names; else its genus, for leaves and bark only."""
    found = shipped_species().find(written)
    assert found is not None
    assert found.name == name


def test_an_unknown_species_is_none_and_no_error() -> None:
    """Never blocking."""
    assert shipped_species().find("Wollemia nobilis") is None
    assert shipped_species().find("") is None


def test_a_genus_lends_leaves_and_bark_but_never_a_temperature() -> None:
    """No table for another species of the genus is no table."""
    larch = shipped_species().find("Larix decidua")
    assert larch is not None
    assert (larch.evergreen, larch.root_kill_c) == (False, None)
    maple = shipped_species().find("Acer palmatum")
    assert maple is not None
    assert (maple.thin_bark, maple.root_kill_c) == (True, -10)
    pine = shipped_species().find("Pinus sylvestris")
    assert pine is not None
    assert (pine.bites_second_season, pine.root_kill_c) == (True, -5)


def test_a_mistyped_name_is_met_with_the_nearest_known_one() -> None:
    """Said, never changed by itself."""
    species = shipped_species()
    assert species.suggestion("Acer palmatun 'Deshojo'") == "Acer palmatum"
    assert species.suggestion("Acer palmatum") == ""
    assert species.suggestion("Wollemia nobilis") == ""
    assert species.suggestion("") == ""


def test_every_shipped_temperature_says_where_it_comes_from() -> None:
    """And how far to trust it; a genus has none."""
    for facts in shipped_species().species.values():
        if facts.root_kill_c is not None:
            assert facts.source
            assert facts.tag in set(TAGS) - {"own"}
            assert " " in facts.name
        assert facts.root_kill_c is None or -40 <= facts.root_kill_c <= -3


def test_a_table_of_ones_own_stands_over_the_shipped_one(tmp_path: Path) -> None:
    """Name by name; the rest stays."""
    own = tmp_path / "species.toml"
    own.write_text('["Larix decidua"]\nroot_kill_c = -12\nsource = "came through -12 three times"\n')
    species = load_species(own)
    larch = species.find("larix decidua")
    assert larch is not None
    assert (larch.root_kill_c, larch.tag, larch.evergreen) == (-12, "own", False)
    assert species.find("Acer palmatum") is not None


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("x = 3", "x: must be a table."),
        (
            '["Larix"]\nroot_kil_c = -12',
            'Larix.root_kil_c: is no key of a species. Did you mean "root_kill_c"?',
        ),
        ('["Larix"]\nroot_kill_c = "cold"', "Larix.root_kill_c: 'cold' is of the wrong type."),
        ('["Larix"]\nroot_kill_c = true\nsource = "x"', "Larix.root_kill_c: True is of the wrong type."),
        ('["Larix"]\nroot_kill_c = -99\nsource = "x"', "Larix.root_kill_c: -99 is out of range."),
        ('["Larix"]\nroot_kill_c = -9', "Larix.source: is missing. Say where the number comes from."),
        ('["Larix"]\ntag = "sure"', "Larix.tag: 'sure' is not known."),
        ("[", "cannot be read"),
    ],
)
def test_a_broken_table_is_refused_with_file_and_key(tmp_path: Path, text: str, sentence: str) -> None:
    """One sentence a problem."""
    own = tmp_path / "species.toml"
    own.write_text(text)
    with pytest.raises(SettingsError) as refused:
        load_species(own)
    assert str(refused.value).startswith(str(own))
    assert sentence in str(refused.value)
