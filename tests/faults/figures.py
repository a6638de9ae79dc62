"""Figures that this room measures, printed at its end; nothing fails on a time that a slow machine makes."""

from statistics import median

_measured: dict[str, list[float]] = {}


def measured(what: str, value: float) -> None:
    """One more value of a figure; `what` ends with its unit in brackets, or is a count."""
    _measured.setdefault(what, []).append(value)


def lines() -> list[str]:
    """A line a figure: counts are summed; of the others the middle one and the largest."""
    found = []
    for what, values in _measured.items():
        name, _, unit = what.rstrip("]").partition(" [")
        if unit:
            most = f"at most {max(values):.1f} {unit}"
            found.append(f"{name}: {median(values):.1f} {unit}, {most} ({len(values)} times)")
        else:
            found.append(f"{name}: {sum(values):.0f} ({len(values)} times looked for)")
    return found
