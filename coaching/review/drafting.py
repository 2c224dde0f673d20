"""How an address names a draft, and how a view that writes into one gets it.

`/review/<draft:ref>/…` is a review's key, or the clip whose answer nobody has begun yet:
looking at a clip writes nothing, and the first word or mark begins the draft, once.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import wraps
from typing import Any, Concatenate, ParamSpec, TypeVar

from django.urls import register_converter

from coaching.people.models import User
from coaching.review.access import draft_write, submission_prepare
from coaching.review.models import Review
from coaching.review.queries import answers
from coaching.review.services import drafts

P = ParamSpec("P")
R = TypeVar("R")


class DraftConverter:
    regex = r"\d{1,18}|clip-\d{1,18}-\d{1,9}"

    def to_python(self, value: str) -> str:
        return value

    def to_url(self, value: object) -> str:
        return str(value)


register_converter(DraftConverter, "draft")


class _Refused(Exception):
    """Carries a refusing answer out of the transaction that it must undo."""

    def __init__(self, answer: Any) -> None:
        super().__init__("refused")
        self.answer = answer


@contextmanager
def drafting(user: User, ref: str) -> Iterator[Review]:
    """The draft that `ref` stands for, begun if nobody has; 404 for a stranger."""
    begins = answers.BEGINS.fullmatch(ref)
    if begins is None:
        yield draft_write(user, int(ref))
        return
    submission = submission_prepare(user, int(begins["clip"]))
    with drafts.begun_draft(submission=submission, sent=int(begins["sent"]), by=user) as review:
        review.begins_at = ref  # the page goes on with the address it has
        yield review


def writes_draft(view: Callable[Concatenate[Any, Review, P], R]) -> Callable[..., R]:
    """Hand a view the draft named in its address; a refusal begins none.

    A view that refuses by redirecting says so with `refused` on its answer.
    """

    @wraps(view)
    def with_draft(request: Any, ref: str, *args: P.args, **kwargs: P.kwargs) -> R:
        try:
            with drafting(request.user, ref) as review:
                answer = view(request, review, *args, **kwargs)
                if getattr(answer, "refused", False) or getattr(answer, "status_code", 200) >= 400:
                    raise _Refused(answer)
                return answer
        except _Refused as refused:
            return refused.answer  # type: ignore[no-any-return]  # an R, as the view gave it

    return with_draft
