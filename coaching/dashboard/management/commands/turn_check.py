"""How turn read off the body agrees with the held club, over real students."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from coaching.lessons.wording import naming
from coaching.people.models import Student, Studio
from coaching.review import turncheck


class Command(BaseCommand):
    help = (
        "Compare pelvis_turn_deg and shoulder_turn_deg with bar_turn_deg over all measured films "
        "of a held club: mean difference, SD and limits of agreement, by view and line. "
        "The demonstration studio is left out unless it is named."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--studio", help="only this studio, by its slug")
        parser.add_argument("--students", action="store_true", help="each student as well")

    def handle(self, *args: Any, studio: str | None, students: bool, **options: Any) -> None:
        people = Student.objects.filter(studio__is_demo=False)
        if studio:
            if not Studio.objects.filter(slug=studio).exists():
                raise CommandError(f"There is no studio {studio}.")
            people = Student.objects.filter(studio__slug=studio)
        found = turncheck.checks(people)
        if not found:
            raise CommandError(
                "No film with a held club is measured yet: ask a student for one of kind bar."
            )
        for check in found:
            self._write(check, students=students)

    def _write(self, check: turncheck.Check, *, students: bool) -> None:
        measure = turncheck.TURNS[check.across]
        counted = sum(person.bias.pairs for person in check.people)
        self.stdout.write(
            f"{measure} - {turncheck.BAR}, {naming.view_name(check.view)}, "
            f"club across the {check.across}: students {len(check.people)}, repetitions {counted}"
        )
        if check.untold:
            self.stdout.write(f"  repetitions with the club alone: {check.untold}")
        if found := check.agreement:
            self.stdout.write(
                f"  mean {found.mean:+.1f} (standard error {found.mean_u:.1f}), "
                f"SD {found.sd:.1f}, limits of agreement {found.low:+.1f} to {found.high:+.1f} "
                f"(standard error {found.limit_u:.1f})"
            )
        elif check.people:
            bias = check.people[0].bias
            self.stdout.write(
                f"  mean {bias.mean:+.1f} (standard error {bias.u:.1f}); "
                "SD and limits of agreement need a second student"
            )
        for person in check.people if students else ():
            bias = person.bias
            self.stdout.write(
                f"  {person.student.name}: {bias.mean:+.1f} (standard error {bias.u:.1f}), "
                f"repetitions {bias.pairs}, films {bias.films}"
            )
