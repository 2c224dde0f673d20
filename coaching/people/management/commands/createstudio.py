"""Found a studio from the command line, with its owner."""

from __future__ import annotations

import getpass
import os
from typing import Any

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.core.validators import validate_email
from django.db import transaction

from coaching.people.accounts import prove_address
from coaching.people.errors import LessonError
from coaching.people.models import User
from coaching.people.services import joining
from coaching.people.services.studio import create_studio


class Command(BaseCommand):
    help = (
        "Found a studio. The owner's password is asked for, or read from the environment "
        "variable OWNER_PASSWORD; an address that has an account keeps its password."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("name", help="the studio's name")
        parser.add_argument("--email", required=True, help="the owner's address")
        parser.add_argument("--owner", required=True, help="the owner's name")

    def handle(self, *args: Any, **options: Any) -> None:
        email = options["email"].strip().lower()
        user = User.objects.filter(email=email).first()
        password = "" if user else self._password(options["owner"], email)
        with transaction.atomic():
            try:
                owner = user or joining.open_account(
                    name=options["owner"], email=email, password=password
                )
            except LessonError as error:
                raise CommandError(error.sentence) from None
            prove_address(owner)  # whoever runs this command vouches for it
            studio = create_studio(name=options["name"], owner=owner)
        self.stdout.write(f"{studio.name} stands; {owner.email} owns it and can sign in.")

    def _password(self, name: str, email: str) -> str:
        password = os.environ.get("OWNER_PASSWORD") or getpass.getpass("Password of the owner: ")
        try:
            validate_email(email)
            validate_password(password, User(name=name, email=email))
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from None
        return password
