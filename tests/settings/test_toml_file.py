"""Where a key stands in a file, so that a problem can name its line.

No outside truth: the lines are counted by hand in the text below.
"""

import pytest

from monitor.toml_file import KeyPath, dotted, find_lines

TEXT = '''\
plans = "x"  # [not.a.table]
[a."b c".d]
key = """
[no.table]
key = 2
"""
list = [
  "[[calls]]",
  # key = 3
  "x",
]
x.y.z = 1
[[calls]]
tell = ["high"]
[[calls]]
[calls.inner]
who = 1
'''


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("plans",), 1),
        (("a", "b c", "d"), 2),
        (("a", "b c", "d", "key"), 3),
        (("a", "b c", "d", "list"), 7),
        (("a", "b c", "d", "list", 1), 7),
        (("a", "b c", "d", "x", "y"), 12),
        (("calls", 0, "tell"), 14),
        (("calls", 1), 15),
        (("calls", 1, "inner", "who"), 17),
        (("calls", 1, "missing"), 15),
        (("nowhere",), 0),
    ],
)
def test_a_key_is_found_at_its_line(path: KeyPath, line: int) -> None:
    """Else at the table around it; long texts, lists and comments are no keys."""
    assert find_lines(TEXT).of(path) == line


def test_a_path_for_people_counts_from_one() -> None:
    """As lines do."""
    assert dotted(("calls", 1, "who", 0)) == "calls[2].who[1]"
