"""Draw every measure anew: `python -m analysis.drawings` writes `static/measures/*.svg`."""

from __future__ import annotations

from pathlib import Path

from analysis.drawings.pictures import PICTURES

FOLDER = Path(__file__).resolve().parents[2] / "static" / "measures"


def main() -> None:
    FOLDER.mkdir(exist_ok=True)
    for picture in PICTURES:
        (FOLDER / f"{picture.measure}.svg").write_text(picture.svg())


if __name__ == "__main__":
    main()
