"""`check`: everything at once, as text and as JSON, with the safety text."""

from monitor.safety import SAFETY_TEXT
from tests.cli.place import Command, Place


def _words(text: str) -> str:
    return " ".join(text.split())


def test_a_good_installation_passes_and_the_safety_text_is_shown(place: Place, aftercare: Command) -> None:
    """All of it, every time."""
    done = aftercare("check", "--config", place.config)

    assert done.status == 0
    assert all(_words(paragraph) in _words(done.out) for paragraph in SAFETY_TEXT)
    assert "Weak points" in done.out


def test_problems_end_with_status_2_and_their_place(place: Place, aftercare: Command) -> None:
    """As many lines as there are problems."""
    place.config.write_text(place.config.read_text().replace("54.6", "154.6").replace("-3.1", "-303.1"))

    done = aftercare("check", "--config", place.config, "--json")

    assert done.status == 2
    assert done.json["ok"] is False
    assert {problem["key"] for problem in done.json["problems"]} == {
        "site.latitude_deg",
        "site.longitude_deg",
    }
    assert {problem["line"] for problem in done.json["problems"]} == {4, 5}
    assert set(done.json["problems"][0]) == {"file", "key", "line", "message", "hint"}
    assert isinstance(done.json["warnings"], list)


def test_a_broken_book_is_a_problem_with_its_line(place: Place, aftercare: Command) -> None:
    """The daemon would not start with it."""
    book = place.write_book()
    book.write_text(book.read_text() + "not an entry\n")

    done = aftercare("check", "--config", place.config, "--json")

    assert done.status == 2
    (problem,) = done.json["problems"]
    assert problem["file"] == str(book)
    assert problem["line"] == 3


def test_a_tree_in_a_house_that_is_too_cold_is_a_weak_point(place: Place, aftercare: Command) -> None:
    """`check` looks at the book, too."""
    place.write_book()
    place.config.write_text(
        place.config.read_text().replace("heater_setpoint_c = 4.0", "heater_setpoint_c = 1.0")
    )

    done = aftercare("check", "--config", place.config, "--json")

    assert done.status == 0
    assert any("Larch 3" in warning["message"] for warning in done.json["warnings"])
