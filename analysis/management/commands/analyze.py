"""`manage.py analyze`: measure one clip from the command line, no database needed."""

from __future__ import annotations

import json
import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any, NoReturn

from django.core.management.base import BaseCommand, CommandError, CommandParser

from analysis.core.pose import KINDS, VIEWS, Capture
from analysis.errors import AnalysisError

STATURE_CM = (100.0, 230.0)
CLUB_CM = (30.0, 140.0)
BAR_WIDTH = 30


class _Parser(CommandParser):
    """Wrong options are one clear line and exit 2."""

    def error(self, message: str) -> NoReturn:
        if not self.called_from_command_line:
            raise CommandError(message, returncode=2)
        self.exit(2, f"{self.prog}: {message}\n")


class Command(BaseCommand):
    help = "Measure a golf clip and write the figures as JSON."
    requires_system_checks: list[str] = []
    requires_migrations_checks = False

    def create_parser(self, prog_name: str, subcommand: str, **kwargs: Any) -> CommandParser:
        parser = super().create_parser(prog_name, subcommand, **kwargs)
        parser.__class__ = _Parser
        return parser

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("clip", type=Path)
        parser.add_argument("--view", choices=VIEWS, required=True)
        parser.add_argument("--handedness", choices=("right", "left"), required=True)
        parser.add_argument("--stature-cm", type=float, required=True)
        parser.add_argument("--kind", choices=KINDS, default="swing")
        parser.add_argument("--club-cm", type=float)
        parser.add_argument("--json", type=Path, required=True, dest="out")
        parser.add_argument("--artifact", type=Path, help="keep the archive of the run here")
        parser.add_argument("--models", type=Path, help="folder of the pose models")

    def handle(self, *args: Any, **options: Any) -> None:
        _check_numbers(options)
        from analysis import pipeline  # loads the pose network: not for `--help`
        from analysis.estimators import MediaPipeEstimator

        bar = _Bar() if sys.stderr.isatty() else None
        try:
            result = pipeline.analyse_video(
                options["clip"],
                capture=_capture(options),
                estimator=MediaPipeEstimator(models_dir=options["models"]),
                progress=bar,
                artifact_path=options["artifact"],
            )
        except AnalysisError as error:
            raise CommandError(f"{options['clip']}: {error}", returncode=2) from error
        finally:
            if bar:
                bar.clear()
        try:
            options["out"].write_text(json.dumps(result, indent=1, allow_nan=False) + "\n")
        except OSError as error:
            message = f"cannot write {options['out']}: {error.strerror}"
            raise CommandError(message, returncode=2) from error


def _check_numbers(options: dict[str, Any]) -> None:
    low, high = STATURE_CM
    if not low <= options["stature_cm"] <= high:
        raise CommandError(f"--stature-cm: between {low:.0f} and {high:.0f}", returncode=2)
    low, high = CLUB_CM
    if options["club_cm"] is not None and not low <= options["club_cm"] <= high:
        raise CommandError(f"--club-cm: between {low:.0f} and {high:.0f}", returncode=2)


def _capture(options: dict[str, Any]) -> Capture:
    return Capture(
        view=options["view"],
        kind=options["kind"],
        handedness=options["handedness"],
        stature_cm=options["stature_cm"],
        club_cm=options["club_cm"],
    )


class _Bar:
    """One line that redraws itself on a terminal."""

    def __call__(self, stage: str, share: float) -> None:
        filled = round(BAR_WIDTH * share)
        bar = "█" * filled + "░" * (BAR_WIDTH - filled)
        sys.stderr.write(f"\r{bar} {round(100 * share):3d} % {stage:<8}")
        sys.stderr.flush()

    def clear(self) -> None:
        sys.stderr.write("\r\033[K")
        sys.stderr.flush()
