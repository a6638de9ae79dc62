"""Writes the golden reports anew: `python -m tests.report.golden`; each is read before it is committed."""

import tempfile
from pathlib import Path

from tests.report.nights import scenarios

FOLDER = Path(__file__).with_name("golden")


def main() -> None:
    """One file a night."""
    FOLDER.mkdir(exist_ok=True)
    for name, scenario in scenarios().items():
        with tempfile.TemporaryDirectory() as folder:
            report = scenario.play(Path(folder)).reports[-1]
        (FOLDER / f"{name}.txt").write_text(f"Subject: {report.subject}\n\n{report.text}", encoding="utf-8")
        print(name)


if __name__ == "__main__":
    main()
