"""A lesson film: a spoken walk-through drawn frame by frame into one file that plays anywhere.

`script` says how everything stood at a moment, `strokes` and `figures` what lies on the clip
then, `painting` puts it into pixels, `screen` shows a clip through the coach's window, `making`
writes the file. The browser's replay (`static/js/review/walk-replay.js`) shows the same from the
same rows; `tests/data/strokes.json` holds the two to each other.
"""
