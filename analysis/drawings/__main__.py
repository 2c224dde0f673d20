"""`python -m analysis.drawings` draws `static/measures/*.svg` and `static/drills/*.svg` anew."""

from __future__ import annotations

from pathlib import Path

from analysis.drawings import strips
from analysis.drawings.pictures import PICTURES

FOLDER = Path(__file__).resolve().parents[2] / "static" / "measures"


def main() -> None:
    FOLDER.mkdir(exist_ok=True)
    for picture in PICTURES:
        (FOLDER / f"{picture.measure}.svg").write_text(picture.svg())
    strips.write_all()


if __name__ == "__main__":
    main()
