"""One sprite of all icons: our own drawings, the rest from the npm package lucide-static (ISC).

    icons.py NODE_PACKAGE TARGET

A page uses `{% icon "play" %}`; a new icon is a line here.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

# Drawn here: a grid of 24, stroke 1.75, round caps.
OWN = {
    "seat": '<path d="M6 3v18"/><path d="M17 4c-3 1-4 4-6 7-2 2.5-3.5 3.5-3 6 .3 1.5 2 2 3 1.5'
    ' 1.5-.8 2-2.5 4-3"/>',
    "shaft": '<path d="M5 4l12 15"/><path d="M17 19h3"/><circle cx="20.5" cy="16" r="1"/>'
    '<path d="M3 21h18"/>',
    "path": '<path d="M5 19c0-6 2-13 8-14 5-.6 7 4 5 8-1.3 2.7-4 4-6 6"/>'
    '<circle cx="12" cy="19" r="1.6"/>',
    "behind": '<rect x="9.5" y="15" width="5" height="7" rx="1"/>'
    '<path d="M12 15V8" stroke-dasharray="2 2.5"/><path d="M7 6.5h3M7 3.5h3"/>'
    '<circle cx="16.5" cy="5" r="1.2"/>',
    "front": '<rect x="2" y="8.5" width="7" height="5" rx="1"/>'
    '<path d="M9 11h6" stroke-dasharray="2 2.5"/><path d="M18 8v2.5M18 12.5V15"/>'
    '<circle cx="14" cy="17" r="1.2"/>',
    "joint": '<circle cx="12" cy="12" r="3"/><path d="M12 3v4M12 17v4M3 12h4M17 12h4"/>',
    "bend": '<path d="M7 20V5" stroke-dasharray="2.5 2.5"/><path d="M7 20L17 6"/>'
    '<path d="M7 9.5a10 10 0 0 1 6 1.7"/>',
    "wipe": '<rect x="3" y="5" width="18" height="14" rx="1"/><path d="M12 2.5v19"/>'
    '<path d="M9.5 12H6M7.5 10.5L6 12l1.5 1.5M14.5 12H18M16.5 10.5L18 12l-1.5 1.5"/>',
    "drill": '<path d="M4 20h4v-5h4v-5h4V5h4"/>',
}
# Our name, by what it is for, and the package's.
PACKAGE = {
    "again": "rotate-ccw", "arc": "drafting-compass", "ask": "circle-help",
    "backup": "archive-restore", "bin": "trash-2", "book": "notebook-text", "camera": "camera",
    "captions": "captions",
    "chart": "chart-line", "clip": "paperclip", "clock": "clock", "compare": "columns-2",
    "copy": "copy", "cross": "x", "disk": "hard-drive", "down": "chevron-down", "edit": "pencil",
    "eye": "eye", "film": "video", "filter": "list-filter", "find": "search", "flag": "flag",
    "folder": "folder-open", "full": "maximize", "gauge": "activity", "ghost": "blend",
    "go": "arrow-right", "grip": "grip-vertical", "home": "footprints", "hurt": "heart-pulse",
    "image": "image", "keys": "keyboard", "left": "chevron-left", "library": "layers",
    "limit": "sliders-horizontal", "line": "slash", "link": "link", "list": "list-checks",
    "lock": "lock",
    "loop": "repeat", "mail": "mail", "mic": "mic", "mirror": "flip-horizontal-2",
    "more": "ellipsis",
    "next": "step-forward", "note": "sticky-note", "off": "calendar-clock", "pause": "pause",
    "pen": "pen-line", "people": "users", "phone": "smartphone", "play": "play", "plus": "plus",
    "prev": "step-back", "print": "printer", "quote": "text-quote", "repeat": "repeat-2",
    "right": "chevron-right", "ruler": "ruler", "send": "send", "settings": "settings-2",
    "shield": "shield-check", "sound": "volume-2", "stop": "square", "sun": "sun", "tag": "tag",
    "tick": "check", "turn": "rotate-cw-square", "undo": "undo-2", "up": "arrow-up", "user": "user",
    "wifi": "wifi-off", "word": "message-square", "zoom": "zoom-in",
}  # fmt: skip


def drawing(package: Path, name: str) -> str:
    text = (package / "icons" / f"{name}.svg").read_text()
    inside = re.search(r"<svg[^>]*>(.*)</svg>", text, re.S)
    assert inside, name
    return re.sub(r"\s+", " ", inside[1]).strip()


def sprite(package: Path) -> str:
    drawn = OWN | {name: drawing(package, theirs) for name, theirs in PACKAGE.items()}
    symbols = (
        f'<symbol id="i-{name}" viewBox="0 0 24 24" fill="none" stroke="currentColor"'
        f' stroke-width="1.75" stroke-linecap="round" stroke-linejoin="round">{inside}</symbol>'
        for name, inside in sorted(drawn.items())
    )
    return '<svg xmlns="http://www.w3.org/2000/svg">' + "\n".join(symbols) + "</svg>\n"


if __name__ == "__main__":
    Path(sys.argv[2]).write_text(sprite(Path(sys.argv[1])))
