"""An invented studio on an invented island. Nobody in it exists.

Saltmarsh House stands on Brannow, where the ferry comes twice a day; most who learn here
live on other islands and send their swings.
"""

from __future__ import annotations

from dataclasses import dataclass, field

MAIL = "saltmarsh.example"
PASSWORD = "ferry at half past nine"  # noqa: S105 (printed in the README)
STUDIO = "Saltmarsh House"
COACH = ("Maren Saltby", f"maren@{MAIL}")
COLLEAGUE = ("Tobin Reedlark", f"tobin@{MAIL}")
SNIPPETS = (
    ("Well filmed", "Thank you, this is filmed just as I need it."),
    ("Slower", "Slow it down until you could stop anywhere."),
    ("Ignore the ball", "Do not look where the ball goes. Only the move counts this week."),
    ("Phone lower", "Stand the phone at the height of your hands, square to the line."),
)


@dataclass(frozen=True)
class Person:
    """A student of the story, as he joins."""

    key: str
    name: str
    stature_cm: float
    age_band: str = "18_59"
    handedness: str = "right"
    goals: str = ""
    usual_miss: str = ""
    flight: str = ""
    height: str = ""
    strike: str = ""
    place: str = "ball"
    body: tuple[tuple[str, str, str, str], ...] = field(default=())  # region, side, kind, words
    guardian: tuple[str, str] | None = None

    @property
    def email(self) -> str:
        return f"{self.key}@{MAIL}"


PEOPLE = (
    Person(
        key="wystan",
        name="Wystan Merrow",
        stature_cm=180,
        goals="Strike the ball first and the turf after. The club championship is in June.",
        usual_miss="mostly with irons",
        strike="thin",
        flight="right-straight",
    ),
    Person(
        key="oda",
        name="Oda Thistlewick",
        stature_cm=166,
        goals="Start again after ten years without a club.",
        strike="top",
        place="foam",
    ),
    Person(
        key="perrin",
        name="Perrin Vale",
        stature_cm=180,
        goals="More distance without hitting harder.",
        flight="straight-right",
        height="high",
    ),
    Person(
        key="sunniva",
        name="Sunniva Larkmoor",
        stature_cm=180,
        age_band="60_up",
        goals="Walk eighteen holes and enjoy them.",
        strike="fat",
        body=(("hip", "trail", "stiff", "The right one, in the mornings."),),
    ),
    Person(
        key="brannoc",
        name="Brannoc Quill",
        stature_cm=180,
        goals="Stop standing up through the ball.",
        usual_miss="off the heel too",
        strike="thin",
        place="none",
    ),
    Person(
        key="tilda",
        name="Tilda Ferrow",
        stature_cm=180,
        goals="A swing that lasts a whole round.",
        flight="left-straight",
    ),
    Person(
        key="corin",
        name="Corin Ashby",
        stature_cm=180,
        age_band="60_up",
        goals="Keep playing with my grandson.",
        usual_miss="and short",
        flight="right-straight",
        place="foam",
    ),
    Person(
        key="nell",
        name="Nell Dunmarrow",
        stature_cm=179.2,
        age_band="under_18",
        handedness="left",
        goals="Make the school team.",
        flight="straight-right",  # a left-hander's hook
        guardian=("Hester Dunmarrow", f"hester@{MAIL}"),
    ),
)
