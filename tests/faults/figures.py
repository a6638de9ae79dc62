"""Figures that this room measures, printed at its end; nothing fails on a time that a slow machine makes."""

_measured: dict[str, list[float]] = {}


def measured(what: str, value: float) -> None:
    """One more value of a figure."""
    _measured.setdefault(what, []).append(value)


def lines() -> list[str]:
    """A line a figure: counts are summed, times are the longest of those measured."""
    found = []
    for what, values in _measured.items():
        if what.endswith("[s]"):
            found.append(f"{what.removesuffix(' [s]')}: at most {max(values):.1f} s ({len(values)} times)")
        else:
            found.append(f"{what}: {sum(values):.0f} of {len(values)} looked for")
    return found
